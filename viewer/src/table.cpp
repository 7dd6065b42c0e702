#include "table.h"

#include <algorithm>
#include <numeric>

namespace leastharm {
namespace {

constexpr double kGutter = 10;
constexpr int kMostLines = 14;  // a cell longer than this belongs into prose

struct Cells {
  std::vector<TextBlock> blocks;
  double height = 0;
};

Cells break_row(Sheet& sheet, const Table& table, const std::vector<double>& widths,
                const std::vector<std::string>& texts, TextStyle style) {
  Cells cells;
  style.most_lines = kMostLines;
  for (std::size_t n = 0; n < texts.size(); ++n) {
    cells.blocks.emplace_back(sheet.cairo(), texts[n], aligned(style, table.columns[n].align),
                              widths[n]);
    cells.height = std::max(cells.height, cells.blocks.back().height());
  }
  cells.height += kGridPt;
  return cells;
}

void draw_cells(Sheet& sheet, const Cells& cells, const std::vector<double>& widths) {
  double x = sheet.area().x;
  for (std::size_t n = 0; n < cells.blocks.size(); ++n) {
    cells.blocks[n].draw(x, sheet.y() + kGridPt / 2);
    x += widths[n] + kGutter;
  }
  sheet.skip(cells.height);
}

void draw_bar(Sheet& sheet, const std::pair<std::string, double>& bar, double x, double width) {
  const Rect piece{x, sheet.y() + 3.5, std::max(1.0, bar.second * width), 7};
  add_rect(sheet.cairo(), piece);
  fill_as_part(sheet.cairo(), bar.first);
  add_rect(sheet.cairo(), piece);
  stroke(sheet.cairo(), kInk, 0.4);
}

std::vector<double> column_widths(const Sheet& sheet, const Table& table) {
  const double shares = std::accumulate(table.columns.begin(), table.columns.end(), 0.0,
                                        [](double sum, const Column& c) { return sum + c.share; });
  const double width = sheet.area().width - kGutter * static_cast<double>(table.columns.size() - 1);
  std::vector<double> widths;
  for (const Column& column : table.columns) widths.push_back(width * column.share / shares);
  return widths;
}

}  // namespace

void draw_table(Sheet& sheet, const Table& table) {
  const std::vector<double> widths = column_widths(sheet, table);
  std::vector<std::string> heads;
  for (const Column& column : table.columns) heads.push_back(column.head);
  const Cells head = break_row(sheet, table, widths, heads, style::table_head);
  const double left = sheet.area().x, right = sheet.area().right();
  cairo_t* cairo = sheet.cairo();
  const auto draw_head = [&] {
    draw_rule(cairo, left, right, sheet.y(), 0.8);
    draw_cells(sheet, head, widths);
    draw_rule(cairo, left, right, sheet.y(), 0.5);
  };
  sheet.snap();
  sheet.need(head.height + 28);
  draw_head();
  for (std::size_t n = 0; n < table.rows.size(); ++n) {
    const bool total = table.last_is_total && n + 1 == table.rows.size();
    TextStyle style = style::table;
    if (total) style.weight = Weight::bold;
    const Cells cells = break_row(sheet, table, widths, table.rows[n], style);
    if (cells.height > sheet.room()) {
      draw_rule(cairo, left, right, sheet.y(), 0.8);
      sheet.new_page();
      draw_head();
    } else if (n > 0) {
      draw_rule(cairo, left, right, sheet.y(), total ? 0.5 : 0.25, total ? kInk : kRule);
    }
    if (n < table.bars.size()) draw_bar(sheet, table.bars[n], right - widths.back(), widths.back());
    draw_cells(sheet, cells, widths);
  }
  draw_rule(cairo, left, right, sheet.y(), 0.8);
  sheet.skip(10.5);
}

}  // namespace leastharm
