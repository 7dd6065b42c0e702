// Holds the precompiled headers of tests/CMakeLists.txt; nothing else.
