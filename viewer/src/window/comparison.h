#pragma once

#include <QWidget>

#include "window/compared.h"
#include "window/desk.h"

namespace leastharm {

/// The search's answer, its alternatives and the lesser choices side by side, a column each, with what each spares and
/// costs against the answer. Arrows choose a column, Enter adopts it.
class Comparison : public QWidget {
 public:
  explicit Comparison(Desk& desk, QWidget* parent = nullptr);
  /// Whether there is anything to compare.
  [[nodiscard]] bool has_plans() const;
  /// The height, px, that shows every row.
  [[nodiscard]] int wanted_height() const;
  void refresh();

 protected:
  void paintEvent(QPaintEvent*) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseDoubleClickEvent(QMouseEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;
  void focusInEvent(QFocusEvent*) override { update(); }
  void focusOutEvent(QFocusEvent*) override { update(); }

 private:
  /// Where the columns stand. The answer always does; of the others as many as find room, the chosen one among them.
  struct Columns {
    double names_px = 0, wide_px = 0;
    std::vector<std::size_t> shown;
  };
  [[nodiscard]] std::vector<ComparedPlan> plans() const;
  [[nodiscard]] Columns columns(std::size_t count) const;
  [[nodiscard]] double row_px() const { return 1.32 * desk_.look.em(); }
  void draw_names(QPainter& painter) const;
  void draw_column(QPainter& painter, const std::vector<ComparedPlan>& plans, std::size_t n, double x, double wide) const;
  void draw_bar(QPainter& painter, const std::vector<ComparedPlan>& plans, std::size_t n, const QRectF& where) const;
  void choose(std::size_t n);

  Desk& desk_;
};

}  // namespace leastharm
