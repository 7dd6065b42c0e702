#include "sheet.h"

#include <cairo-pdf.h>

#include <algorithm>
#include <cmath>

#include "imaging/error.h"
#include "pdf_catalog.h"

namespace leastharm {
namespace {

constexpr double kSideMargin = 22 * kPointsPerMm;
constexpr double kTopMargin = 24.5 * kPointsPerMm;
constexpr double kBottomMargin = 23 * kPointsPerMm;
constexpr double kLabelColumn = 112;

Rect paper_of(PageSize size) {
  return size == PageSize::a4 ? Rect{0, 0, 210 * kPointsPerMm, 297 * kPointsPerMm}
                              : Rect{0, 0, 612, 792};
}

/// The text area, its height a whole number of grid steps.
Rect area_of(const Rect& paper) {
  const double height =
      std::floor((paper.height - kTopMargin - kBottomMargin) / (2 * kGridPt)) * 2 * kGridPt;
  return {kSideMargin, kTopMargin, paper.width - 2 * kSideMargin, height};
}

cairo_status_t append(void* bytes, const unsigned char* data, unsigned length) {
  static_cast<std::string*>(bytes)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

/// A name that cairo's attribute syntax takes as it is.
std::string target_name(const std::string& title) {
  std::string name = "at";
  for (const unsigned char c : title) name += std::isalnum(c) ? static_cast<char>(c) : '-';
  return name;
}

}  // namespace

Sheet::Sheet(PageSize size, SheetFacts facts, PageNotes known)
    : facts_(std::move(facts)),
      known_(std::move(known)),
      paper_(paper_of(size)),
      area_(area_of(paper_)) {
  surface_ = cairo_pdf_surface_create_for_stream(append, &bytes_, paper_.width, paper_.height);
  cairo_pdf_surface_set_metadata(surface_, CAIRO_PDF_METADATA_TITLE, facts_.title.c_str());
  cairo_pdf_surface_set_metadata(surface_, CAIRO_PDF_METADATA_SUBJECT, facts_.subject.c_str());
  cairo_pdf_surface_set_metadata(surface_, CAIRO_PDF_METADATA_CREATOR, "Leastharm");
  // Never the clock's time: the same plan gives the same bytes.
  cairo_pdf_surface_set_metadata(surface_, CAIRO_PDF_METADATA_CREATE_DATE, facts_.date.c_str());
  cairo_ = cairo_create(surface_);
  notes_.pages = 1;
  y_ = area_.y;
}

Sheet::~Sheet() {
  if (cairo_) cairo_destroy(cairo_);
  if (surface_) cairo_surface_destroy(surface_);
}

double Sheet::prose_x() const { return area_.x + kLabelColumn; }
double Sheet::prose_width() const { return area_.width - kLabelColumn; }

int Sheet::page_of(const std::string& section) const {
  const auto found = known_.page_of.find(section);
  return found == known_.page_of.end() ? 0 : found->second;
}

bool Sheet::page_is_fresh() const { return y_ <= area_.y + 0.01; }

bool Sheet::need(double height) {
  if (height <= room() + 0.01 || page_is_fresh()) return false;
  new_page();
  return true;
}

void Sheet::snap() {
  const double step = 2 * kGridPt;
  y_ = area_.y + std::ceil((y_ - area_.y) / step - 1e-6) * step;
}

void Sheet::draw_running_lines() {
  const double foot = area_.bottom() + 9 * kPointsPerMm;
  const std::string page =
      "page " + std::to_string(notes_.pages) + " of " + std::to_string(known_.pages);
  draw_rule(cairo_, area_.x, area_.right(), foot - 11, 0.4, kRule);
  TextStyle left = style::running;
  left.most_lines = 1;
  TextBlock(cairo_, facts_.object, left, area_.width * 0.45).draw(area_.x, foot - 7.5);
  draw_line_of_text(cairo_, facts_.plan, aligned(style::running, Align::centre),
                    area_.x + area_.width * 0.62, foot);
  draw_line_of_text(cairo_, page, aligned(style::running, Align::right), area_.right(), foot);
  if (!running_head_.empty())
    draw_line_of_text(cairo_, running_head_, aligned(style::running, Align::right), area_.right(),
                      area_.y - 8 * kPointsPerMm);
}

void Sheet::new_page() {
  draw_running_lines();
  cairo_show_page(cairo_);
  ++notes_.pages;
  running_head_ = section_;
  y_ = area_.y;
}

void Sheet::mark_target(const std::string& name) {
  // A plain box is enough: what counts is the place.
  const std::string attributes = "name='" + target_name(name) +
                                 "' x=" + std::to_string(static_cast<int>(area_.x)) +
                                 " y=" + std::to_string(static_cast<int>(y_));
  cairo_tag_begin(cairo_, CAIRO_TAG_DEST, attributes.c_str());
  cairo_tag_end(cairo_, CAIRO_TAG_DEST);
}

void Sheet::section(const std::string& title, double least_room) {
  if (!page_is_fresh()) {
    skip(21);
    snap();
    need(least_room);
  }
  section_ = title;
  if (page_is_fresh()) running_head_.clear();  // the title says it
  notes_.page_of[title] = notes_.pages;
  mark_target(title);
  section_outline_ = cairo_pdf_surface_add_outline(surface_, CAIRO_PDF_OUTLINE_ROOT, title.c_str(),
                                                   ("dest='" + target_name(title) + "'").c_str(),
                                                   CAIRO_PDF_OUTLINE_FLAG_OPEN);
  draw_rule(cairo_, area_.x, area_.right(), y_, 1.4);
  skip(7);
  wide(title, style::section);
  skip(10.5);
}

void Sheet::outline(const std::string& title, const std::string& target) {
  mark_target(target);
  cairo_pdf_surface_add_outline(surface_, section_outline_, title.c_str(),
                                ("dest='" + target_name(target) + "'").c_str(),
                                static_cast<cairo_pdf_outline_flags_t>(0));
}

void Sheet::heading(const std::string& text, double least_room) {
  if (!page_is_fresh()) skip(10.5);
  need(least_room);
  snap();
  wide(text, style::heading);
  skip(3.5);
}

void Sheet::flow(const TextBlock& text, double x) {
  const int total = text.lines();
  const double leading = text.height() / total;
  int first = 0;
  while (first < total) {
    int fit = std::min(total - first, static_cast<int>((room() + 0.01) / leading));
    // No single line left behind or sent ahead, where the page allows it.
    if (fit < total - first && total - first - fit == 1 && fit > 2) --fit;
    if (fit < std::min(2, total - first) && !page_is_fresh()) {
      new_page();
      continue;
    }
    fit = std::max(fit, 1);
    text.draw(x, y_, first, first + fit);
    skip(fit * leading);
    first += fit;
    if (first < total) new_page();
  }
}

void Sheet::paragraph(const std::string& text, const TextStyle& style) {
  snap();
  flow(TextBlock(cairo_, text, style, prose_width()), prose_x());
  skip(3.5);
}

void Sheet::labelled(const std::string& label, const std::string& text, const TextStyle& style) {
  snap();
  const TextBlock side(cairo_, label, style::side, kLabelColumn - 14);
  need(std::max(side.height(), std::min(28.0, style.leading_pt * 2)));
  side.draw(area_.x, y_);
  const double least_end = y_ + side.height();
  const int page = notes_.pages;
  flow(TextBlock(cairo_, text, style, prose_width()), prose_x());
  if (page == notes_.pages) y_ = std::max(y_, least_end);
  skip(3.5);
}

void Sheet::bullets(const std::string& label, const std::vector<std::string>& items) {
  constexpr double indent = 11;
  snap();
  const TextBlock side(cairo_, label, style::side, kLabelColumn - 14);
  need(std::max(side.height(), 28.0));
  side.draw(area_.x, y_);
  const double least_end = y_ + side.height();
  const int page = notes_.pages;
  for (const std::string& item : items) {
    const TextBlock block(cairo_, item, style::body, prose_width() - indent);
    need(std::min(block.height(), 28.0));
    draw_line_of_text(cairo_, "–", style::body, prose_x(), y_ + 10.43);
    flow(block, prose_x() + indent);
  }
  if (page == notes_.pages) y_ = std::max(y_, least_end);
  skip(3.5);
}

void Sheet::note(const std::string& text) {
  skip(-3.5);
  wide(text, style::caption);
  skip(7);
}

void Sheet::notice(const std::string& text) {
  constexpr double pad = 10.5;
  const TextBlock block(cairo_, text, style::strong, area_.width - 2 * pad - 4);
  need(block.height() + pad);
  snap();
  add_rect(cairo_, {area_.x, y_, area_.width, block.height() + pad});
  set_colour(cairo_, {0.94, 0.94, 0.95});
  cairo_fill(cairo_);
  add_rect(cairo_, {area_.x, y_, 3, block.height() + pad});
  set_colour(cairo_, kInk);
  cairo_fill(cairo_);
  block.draw(area_.x + pad + 4, y_ + pad / 2);
  skip(block.height() + pad + 10.5);
}

void Sheet::wide(const std::string& text, const TextStyle& style) {
  flow(TextBlock(cairo_, text, style, area_.width), area_.x);
}

Rect Sheet::box(double height) {
  need(height);
  const Rect where{area_.x, y_, area_.width, height};
  skip(height);
  return where;
}

void Sheet::caption(const std::string& text) {
  skip(3.5);
  wide("Figure " + std::to_string(++figures_) + ". " + text, style::caption);
  skip(7);
}

std::string Sheet::finish() {
  draw_running_lines();
  cairo_show_page(cairo_);
  const cairo_status_t drawn = cairo_status(cairo_);
  cairo_destroy(cairo_);
  cairo_ = nullptr;
  cairo_surface_finish(surface_);
  const cairo_status_t written = cairo_surface_status(surface_);
  cairo_surface_destroy(surface_);
  surface_ = nullptr;
  for (const cairo_status_t status : {drawn, written})
    if (status != CAIRO_STATUS_SUCCESS)
      throw std::runtime_error(std::string("The paper could not be drawn: ") +
                               cairo_status_to_string(status));
  return with_language(std::move(bytes_), "en-GB");
}

}  // namespace leastharm
