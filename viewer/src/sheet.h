#pragma once

#include <cairo.h>

#include <map>
#include <string>
#include <vector>

#include "ink.h"
#include "type.h"
#include "viewer/print.h"

namespace leastharm {

/// What a first run over the pages learned, so that the second can print "page 2 of 14" and "see
/// page 9".
struct PageNotes {
  int pages = 0;
  std::map<std::string, int> page_of;  ///< by section title
};

/// What the whole document carries.
struct SheetFacts {
  std::string title, subject, object,
      plan;          ///< `object` and `plan` stand at the foot of every page
  std::string date;  ///< ISO 8601, or empty: the document's date
};

/// A document under way: pages, a cursor, and blocks of text set down one below the other. Prose
/// stands in a column of comfortable measure with its label beside it; figures and tables take the
/// whole width.
class Sheet {
 public:
  Sheet(PageSize size, SheetFacts facts, PageNotes known);
  Sheet(const Sheet&) = delete;
  Sheet& operator=(const Sheet&) = delete;
  ~Sheet();

  [[nodiscard]] cairo_t* cairo() const { return cairo_; }
  [[nodiscard]] const Rect& area() const { return area_; }
  [[nodiscard]] double y() const { return y_; }
  [[nodiscard]] double room() const { return area_.bottom() - y_; }
  [[nodiscard]] double prose_x() const;
  [[nodiscard]] double prose_width() const;
  [[nodiscard]] int page_of(const std::string& section) const;  ///< 0 in the first run
  [[nodiscard]] const PageNotes& notes() const { return notes_; }

  /// Begins a new page unless `height` is left on this one. True where it did.
  bool need(double height);
  void skip(double height) { y_ += height; }
  /// Moves down to the next line of the page's grid.
  void snap();
  void new_page();
  [[nodiscard]] bool page_is_fresh() const;

  /// A section's title, with its outline entry and link target; on a new page unless `least_room`
  /// is left.
  void section(const std::string& title, double least_room = 190);
  /// An outline entry and link target below the section, here.
  void outline(const std::string& title, const std::string& target);
  void heading(const std::string& text, double least_room = 84);
  void paragraph(const std::string& text, const TextStyle& style = style::body);
  /// A paragraph with its label in the side column.
  void labelled(const std::string& label, const std::string& text,
                const TextStyle& style = style::body);
  /// A list with its label in the side column.
  void bullets(const std::string& label, const std::vector<std::string>& items);
  /// Small print over the whole width, under a table.
  void note(const std::string& text);
  /// What nobody may overlook: bold, on a tinted panel.
  void notice(const std::string& text);
  /// Text over the whole width.
  void wide(const std::string& text, const TextStyle& style);
  /// Takes `height` over the whole width, on a new page if need be.
  Rect box(double height);
  /// A numbered caption, set below the figure before it.
  void caption(const std::string& text);

  /// Closes the document and returns its bytes.
  std::string finish();

 private:
  void flow(const TextBlock& text, double x);
  void draw_running_lines();
  void mark_target(const std::string& name);

  SheetFacts facts_;
  PageNotes known_, notes_;
  std::string bytes_, section_, running_head_;
  cairo_surface_t* surface_ = nullptr;
  cairo_t* cairo_ = nullptr;
  Rect paper_, area_;
  double y_ = 0;
  int section_outline_ = 0, figures_ = 0;
};

}  // namespace leastharm
