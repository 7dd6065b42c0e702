#pragma once

#include <QCheckBox>
#include <QDoubleSpinBox>
#include <QLabel>
#include <QWidget>

#include "window/desk.h"

namespace leastharm {

/// The line at the foot: what lies under the pointer, the HU interval, what is laid over the
/// pictures, and whether everything is kept.
class ReadingBar : public QWidget {
 public:
  explicit ReadingBar(Desk& desk, QWidget* parent = nullptr);
  void refresh();  ///< all but the pointer
  void show_pointed();

 private:
  [[nodiscard]] QString pointed_text() const;
  Desk& desk_;
  QLabel *pointed_, *kept_, *hu_, *to_;
  QDoubleSpinBox *black_, *white_;
  QCheckBox *hatches_, *confidence_, *words_, *ruler_;
  bool setting_ = false;
};

}  // namespace leastharm
