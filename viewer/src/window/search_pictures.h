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

}  // namespace leastharm
