#pragma once

#include "window/panel.h"

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

/// What the laboratory asks, and the search for it.
class SearchPanel : public Panel {
 public:
  explicit SearchPanel(Desk& desk);
  void refresh(unsigned changed) override;

 private:
  void add_request();
  void add_search();
  void fill_request();
  void take_request();

  QComboBox *which_, *cavity_, *material_, *sides_;
  QDoubleSpinBox *need_, *retain_, *replicates_, *spacing_, *particle_, *gap_, *time_;
  QLabel *assays_, *state_;
  QPushButton *start_, *adopt_;
  GapCurve* curve_;
  Alternatives* alternatives_;
  bool setting_ = false;
};

}  // namespace leastharm
