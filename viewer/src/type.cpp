#include "type.h"

#include <pango/pangocairo.h>

#include <algorithm>
#include <cstring>
#include <regex>

#include "imaging/error.h"

namespace leastharm {
namespace {

constexpr const char* kFamily = "Lato";
/// Where the baseline lies in a line, as a part of the leading: the same for all sizes, so that
/// columns meet.
constexpr double kBaseline = 0.745;

PangoWeight pango_weight(Weight weight) {
  switch (weight) {
    case Weight::semibold:
      return PANGO_WEIGHT_SEMIBOLD;
    case Weight::bold:
      return PANGO_WEIGHT_BOLD;
    case Weight::regular:
      break;
  }
  return PANGO_WEIGHT_NORMAL;
}

PangoAlignment pango_alignment(Align align) {
  return align == Align::right    ? PANGO_ALIGN_RIGHT
         : align == Align::centre ? PANGO_ALIGN_CENTER
                                  : PANGO_ALIGN_LEFT;
}

void insert_range(PangoAttrList* list, PangoAttribute* attribute, std::size_t from,
                  std::size_t to) {
  attribute->start_index = static_cast<guint>(from);
  attribute->end_index = static_cast<guint>(to);
  pango_attr_list_insert(list, attribute);
}

/// Figures of equal width everywhere, no ligatures (they would hide letters from a search), and no
/// line break between a number and its unit.
PangoAttrList* make_attributes(const std::string& text) {
  static const std::regex measure(
      R"([0-9] (mm|mg|cm|g|HU|keV|kVp|in|of|%|pt|h)[0-9a-zA-Z²³/]*|(Page|page|Figure|version|plan) [0-9]+)");
  PangoAttrList* list = pango_attr_list_new();
  pango_attr_list_insert(list, pango_attr_font_features_new("tnum=1, lnum=1, liga=0"));
  for (std::sregex_iterator match(text.begin(), text.end(), measure), end; match != end; ++match) {
    const auto from = static_cast<std::size_t>(match->position());
    insert_range(list, pango_attr_allow_breaks_new(FALSE), from,
                 from + static_cast<std::size_t>(match->length()));
  }
  return list;
}

/// Metrics must not depend on the surface, or the paper would break lines otherwise than its
/// pictures.
void use_plain_metrics(PangoContext* context) {
  cairo_font_options_t* options = cairo_font_options_create();
  cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
  cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
  cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
  pango_cairo_context_set_font_options(context, options);
  pango_cairo_context_set_resolution(context, 72);
  pango_context_set_round_glyph_positions(context, FALSE);
  cairo_font_options_destroy(options);
}

std::shared_ptr<PangoLayout> make_layout(cairo_t* cairo, const std::string& text,
                                         const TextStyle& style) {
  std::shared_ptr<PangoLayout> layout(pango_cairo_create_layout(cairo), g_object_unref);
  use_plain_metrics(pango_layout_get_context(layout.get()));
  pango_layout_context_changed(layout.get());
  PangoFontDescription* font = pango_font_description_new();
  pango_font_description_set_family_static(font, kFamily);
  pango_font_description_set_weight(font, pango_weight(style.weight));
  pango_font_description_set_style(font, style.italic ? PANGO_STYLE_ITALIC : PANGO_STYLE_NORMAL);
  pango_font_description_set_absolute_size(font, style.size_pt * PANGO_SCALE);
  pango_layout_set_font_description(layout.get(), font);
  pango_font_description_free(font);
  // Text from files may hold anything; Pango wants valid UTF-8.
  gchar* valid = g_utf8_make_valid(text.data(), static_cast<gssize>(text.size()));
  pango_layout_set_text(layout.get(), valid, -1);
  PangoAttrList* attributes = make_attributes(valid);
  pango_layout_set_attributes(layout.get(), attributes);
  pango_attr_list_unref(attributes);
  g_free(valid);
  return layout;
}

}  // namespace

void set_colour(cairo_t* cairo, Rgb colour) {
  cairo_set_source_rgb(cairo, colour.red, colour.green, colour.blue);
}

TextStyle aligned(TextStyle style, Align align) {
  style.align = align;
  return style;
}

TextStyle coloured(TextStyle style, Rgb colour) {
  style.colour = colour;
  return style;
}

TextBlock::TextBlock(cairo_t* cairo, const std::string& text, const TextStyle& style,
                     double width_pt)
    : cairo_(cairo), style_(style), width_pt_(width_pt) {
  const auto layout = make_layout(cairo, text, style);
  pango_layout_set_width(layout.get(), static_cast<int>(width_pt * PANGO_SCALE));
  pango_layout_set_wrap(layout.get(), PANGO_WRAP_WORD_CHAR);
  pango_layout_set_alignment(layout.get(), pango_alignment(style.align));
  if (style.most_lines > 0) {
    pango_layout_set_height(layout.get(), -style.most_lines);
    pango_layout_set_ellipsize(layout.get(), PANGO_ELLIPSIZE_END);
  }
  layout_ = layout;
}

int TextBlock::lines() const {
  return pango_layout_get_line_count(static_cast<PangoLayout*>(layout_.get()));
}

double TextBlock::ink_width() const {
  PangoRectangle logical;
  pango_layout_get_extents(static_cast<PangoLayout*>(layout_.get()), nullptr, &logical);
  return logical.width / static_cast<double>(PANGO_SCALE);
}

void TextBlock::draw(double x, double y, int first, int last) const {
  auto* layout = static_cast<PangoLayout*>(layout_.get());
  set_colour(cairo_, style_.colour);
  PangoLayoutIter* iter = pango_layout_get_iter(layout);
  for (int n = 0; n < last; ++n) {
    if (n >= first) {
      PangoRectangle logical;
      pango_layout_iter_get_line_extents(iter, nullptr, &logical);
      const double baseline = y + (n - first + kBaseline) * style_.leading_pt;
      cairo_move_to(cairo_, x + logical.x / static_cast<double>(PANGO_SCALE), baseline);
      pango_cairo_show_layout_line(cairo_, pango_layout_iter_get_line_readonly(iter));
    }
    if (!pango_layout_iter_next_line(iter)) break;
  }
  pango_layout_iter_free(iter);
  cairo_new_path(cairo_);
}

double text_width(cairo_t* cairo, const std::string& text, const TextStyle& style) {
  PangoRectangle logical;
  pango_layout_get_extents(make_layout(cairo, text, style).get(), nullptr, &logical);
  return logical.width / static_cast<double>(PANGO_SCALE);
}

void draw_line_of_text(cairo_t* cairo, const std::string& text, const TextStyle& style, double x,
                       double y, const Rgb* halo) {
  const auto layout = make_layout(cairo, text, style);
  PangoRectangle logical;
  pango_layout_get_extents(layout.get(), nullptr, &logical);
  const double width = logical.width / static_cast<double>(PANGO_SCALE);
  const double left = style.align == Align::right    ? x - width
                      : style.align == Align::centre ? x - width / 2
                                                     : x;
  PangoLayoutLine* line = pango_layout_get_line_readonly(layout.get(), 0);
  cairo_save(cairo);
  if (halo) {
    cairo_move_to(cairo, left, y);
    pango_cairo_layout_line_path(cairo, line);
    set_colour(cairo, *halo);
    cairo_set_line_width(cairo, 1.8);
    cairo_set_line_join(cairo, CAIRO_LINE_JOIN_ROUND);
    cairo_stroke(cairo);
  }
  set_colour(cairo, style.colour);
  cairo_move_to(cairo, left, y);
  pango_cairo_show_layout_line(cairo, line);
  cairo_new_path(cairo);
  cairo_restore(cairo);
}

void require_typeface() {
  PangoFontFamily** families = nullptr;
  int count = 0;
  pango_font_map_list_families(pango_cairo_font_map_get_default(), &families, &count);
  const bool found = std::any_of(families, families + count, [](PangoFontFamily* family) {
    return std::strcmp(pango_font_family_get_name(family), kFamily) == 0;
  });
  g_free(families);
  if (!found)
    throw BadInput(
        "The typeface Lato is not installed; install Debian's package fonts-lato and print again.");
}

}  // namespace leastharm
