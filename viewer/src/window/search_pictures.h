#pragma once

#include <QWidget>

#include "window/desk.h"

namespace leastharm {

/// The gap closing over time: best score found and proven bound.
class GapCurve : public QWidget {
 public:
  explicit GapCurve(Desk& desk, QWidget* parent = nullptr);

 protected:
  void paintEvent(QPaintEvent*) override;

 private:
  Desk& desk_;
};

/// The search's answer and the alternatives, one below the other, with what each spares and costs
/// against the answer.
class Alternatives : public QWidget {
 public:
  explicit Alternatives(Desk& desk, QWidget* parent = nullptr);
  [[nodiscard]] int count() const;
  [[nodiscard]] int chosen() const { return chosen_; }
  void refresh();

 protected:
  void paintEvent(QPaintEvent*) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseDoubleClickEvent(QMouseEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;

 private:
  [[nodiscard]] double row_height() const { return desk_.look.em() * 4.1; }
  Desk& desk_;
  int chosen_ = 0;
};

}  // namespace leastharm
