#pragma once

#include <filesystem>
#include <functional>
#include <string_view>

namespace leastharm {

/// Writes a file whole or not at all: `write` fills a new file beside `path`, which is then flushed to the disk and
/// renamed over it. A kill at any moment leaves either the old file or the new one. Throws BadInput where that fails
/// (no such folder, no permission, full disk); the old file then still stands.
void write_whole(const std::filesystem::path& path,
                 const std::function<void(const std::filesystem::path& beside)>& write);
void write_whole(const std::filesystem::path& path, std::string_view bytes);

}  // namespace leastharm
