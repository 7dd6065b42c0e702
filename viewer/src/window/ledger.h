#pragma once

#include <QWidget>

#include "window/desk.h"

namespace leastharm {

/// One row a track: path, crossings, mass with its interval, chances, score; at the foot all
/// together, with the bound.
class Ledger : public QWidget {
 public:
  explicit Ledger(Desk& desk, QWidget* parent = nullptr);

 protected:
  void paintEvent(QPaintEvent*) override;
  void mousePressEvent(QMouseEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;
  void wheelEvent(QWheelEvent* event) override;

 private:
  struct Column {
    double x = 0, width = 0;
    bool right = false;
  };
  [[nodiscard]] std::vector<QString> texts(std::size_t track) const;
  [[nodiscard]] std::vector<Column> columns() const;
  void draw_cell(QPainter& painter, const Column& column, double y, const QString& text) const;
  void draw_without_needle(QPainter& painter) const;
  void draw_head(QPainter& painter, const std::vector<Column>& columns) const;
  void draw_track(QPainter& painter, const std::vector<Column>& columns, double y,
                  std::size_t n);
  void draw_bar(QPainter& painter, const Column& column, double y,
                const TrackAssessment& track);
  double draw_together(QPainter& painter, const std::vector<Column>& columns, double y) const;
  void draw_scroll_bar(QPainter& painter, std::size_t shown) const;
  [[nodiscard]] QString findings_text() const;
  /// How many rows there is room for; scrolls to the track in hand when it has changed.
  [[nodiscard]] std::size_t fit_rows(bool findings);
  [[nodiscard]] double row_height() const { return desk_.look.em() * 1.75; }

  Desk& desk_;
  Bands bands_;
  std::size_t first_ = 0;                 ///< row shown uppermost
  std::size_t followed_ = std::size_t(-1);  ///< track in hand when the rows were last scrolled to it
};

/// "12 % above the least possible", as far as it is proven.
[[nodiscard]] QString verdict(const Workbench& bench);

}  // namespace leastharm
