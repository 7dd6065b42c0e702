#pragma once

#include <string>
#include <vector>

#include "sheet.h"

namespace leastharm {

struct Column {
  std::string head;
  double share = 1;  ///< of the table's width, against the other columns
  Align align = Align::left;
};

/// Rows of text under named columns. Cells wrap; the head is repeated on every page; rows are never
/// parted.
struct Table {
  std::vector<Column> columns;
  std::vector<std::vector<std::string>> rows;
  bool last_is_total = false;  ///< sets the last row apart
  /// Bars drawn in the last column, one a row (empty: none): a part's name and its share of the
  /// column.
  std::vector<std::pair<std::string, double>> bars = {};
};

/// Over the whole width.
void draw_table(Sheet& sheet, const Table& table);

}  // namespace leastharm
