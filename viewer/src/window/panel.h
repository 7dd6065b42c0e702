#pragma once

#include <QComboBox>
#include <QLabel>
#include <QVBoxLayout>
#include <QWidget>

#include "window/desk.h"

class QDoubleSpinBox;
class QFormLayout;
class QLineEdit;
class QPushButton;

namespace leastharm {

/// One line of text that ends in three dots where there is no room for all of it.
class ElidedLabel : public QLabel {
 public:
  using QLabel::QLabel;
  [[nodiscard]] QSize minimumSizeHint() const override { return {0, QLabel::minimumSizeHint().height()}; }

 protected:
  void paintEvent(QPaintEvent*) override;
};

/// A field to choose from a list; a small angle at its right end says so.
class Choice : public QComboBox {
 public:
  using QComboBox::QComboBox;

 protected:
  void paintEvent(QPaintEvent* event) override;
};

/// A drawer at the window's right side.
class Panel : public QWidget {
 public:
  Panel(Desk& desk, const QString& title);
  /// Something changed (bits of `Changed`); shown panels only.
  virtual void refresh(unsigned changed) = 0;
  virtual void opened() {}
  virtual void closed() {}
  /// A tool was used on a picture. True where this panel takes it.
  virtual bool take_tool(Tool, const std::vector<Vec3>&) { return false; }
  /// Part of the window's width that it wants; 0 = the usual drawer.
  [[nodiscard]] virtual double wanted_part() const { return 0; }
  /// Once everything is in: what is left of the height stays empty below it.
  void end_column() { column_->addStretch(1); }

 protected:
  QLabel* add_heading(const QString& text);
  QLabel* add_note(const QString& text);
  QFormLayout* add_form();
  QPushButton* make_button(const QString& text, bool act = true);
  QDoubleSpinBox* make_number(double low, double high, int decimals, const QString& unit);
  /// Buttons side by side, the first ones to the left.
  void add_row(const std::vector<QWidget*>& widgets);

  Desk& desk_;
  QVBoxLayout* column_;
};

}  // namespace leastharm
