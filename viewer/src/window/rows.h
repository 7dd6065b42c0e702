#pragma once

#include <functional>

namespace leastharm {

/// Calls `rows(from, to)` for all rows of a picture, block by block, here and in a second thread, whichever is free.
/// Nobody waits for a thread that found no core: its blocks are done here. Rows must not hang on one another.
void in_blocks_of_rows(int width, int height, const std::function<void(int from, int to)>& rows);

}  // namespace leastharm
