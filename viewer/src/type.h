#pragma once

#include <cairo.h>

#include <memory>
#include <string>
#include <vector>

namespace leastharm {

/// A colour, each part 0 to 1.
struct Rgb {
  double red = 0, green = 0, blue = 0;
};
inline constexpr Rgb kInk{0.10, 0.10, 0.12};    ///< text
inline constexpr Rgb kQuiet{0.38, 0.38, 0.41};  ///< captions, running lines
inline constexpr Rgb kRule{0.72, 0.72, 0.74};   ///< hairlines
inline constexpr Rgb kWhite{1, 1, 1};

void set_colour(cairo_t* cairo, Rgb colour);

/// Points; pt = 1/72 inch. Everything on paper is measured in them.
inline constexpr double kPointsPerMm = 72.0 / 25.4;
/// Every height in the paper is a multiple of this, so that lines of neighbouring columns meet.
inline constexpr double kGridPt = 3.5;

enum class Weight { regular, semibold, bold };
enum class Align { left, right, centre };

/// How a block of text is set. One family (Lato) throughout, with figures of equal width.
struct TextStyle {
  double size_pt = 9.8;
  double leading_pt = 14;
  Weight weight = Weight::regular;
  bool italic = false;
  Rgb colour = kInk;
  Align align = Align::left;
  int most_lines = 0;  ///< 0 = as many as it takes; else the last one ends in an ellipsis
};

/// The styles of the printout.
namespace style {
inline constexpr TextStyle body{};
inline constexpr TextStyle strong{9.8, 14, Weight::bold};
inline constexpr TextStyle side{9, 14, Weight::bold};
inline constexpr TextStyle title{25, 31.5, Weight::bold};
inline constexpr TextStyle section{17, 24.5, Weight::bold};
inline constexpr TextStyle heading{10.8, 14, Weight::bold};
inline constexpr TextStyle table{8.4, 10.5};
inline constexpr TextStyle table_head{7.6, 10.5, Weight::bold, false, kQuiet};
inline constexpr TextStyle caption{8.0, 10.5, Weight::regular, false, kQuiet};
inline constexpr TextStyle label{7.2, 10.5, Weight::regular, false, kInk};
inline constexpr TextStyle running{7.4, 10.5, Weight::regular, false, kQuiet};
}  // namespace style

[[nodiscard]] TextStyle aligned(TextStyle style, Align align);
[[nodiscard]] TextStyle coloured(TextStyle style, Rgb colour);

/// Text broken into lines for one width. A number is never parted from its unit; words too long for
/// the width are broken anywhere.
class TextBlock {
 public:
  TextBlock(cairo_t* cairo, const std::string& text, const TextStyle& style, double width_pt);

  [[nodiscard]] int lines() const;
  [[nodiscard]] double height() const { return lines() * style_.leading_pt; }
  /// Width of the longest line.
  [[nodiscard]] double ink_width() const;
  /// Draws lines `first` to before `last`; the first one's top at `y`.
  void draw(double x, double y, int first, int last) const;
  void draw(double x, double y) const { draw(x, y, 0, lines()); }

 private:
  cairo_t* cairo_;
  TextStyle style_;
  double width_pt_;
  std::shared_ptr<void> layout_;
};

/// One line of text with its baseline at `y`; `x` is its left end, middle or right end by the
/// style's alignment. With `halo`, a rim in that colour is drawn behind the letters.
void draw_line_of_text(cairo_t* cairo, const std::string& text, const TextStyle& style, double x,
                       double y, const Rgb* halo = nullptr);
[[nodiscard]] double text_width(cairo_t* cairo, const std::string& text, const TextStyle& style);

/// Throws BadInput where the typeface is not installed.
void require_typeface();

}  // namespace leastharm
