#pragma once

#include <QWidget>
#include <functional>
#include <string>
#include <vector>

#include "planner/needle.h"

class QComboBox;
class QDoubleSpinBox;
class QGridLayout;
class QLabel;
class QLineEdit;

namespace leastharm {

/// Fields for a needle that the catalogue does not hold.
class OwnNeedle : public QWidget {
 public:
  /// `add` is given a needle whose measures hold; `known` are the needles whose names are taken.
  OwnNeedle(std::function<void(const Needle&)> add, std::function<const std::vector<Needle>&()> known);

 private:
  void add_field(const QString& name, QWidget* field);
  [[nodiscard]] QDoubleSpinBox* add_measure(const QString& name, double low, double high, double value, const QString& unit);
  [[nodiscard]] Needle needle() const;
  void take();

  std::function<void(const Needle&)> add_;
  std::function<const std::vector<Needle>&()> known_;
  QGridLayout* grid_;
  int fields_ = 0;
  QLineEdit* name_;
  QDoubleSpinBox *outer_, *bore_, *throw_, *usable_, *dead_tip_, *recovery_p05_, *recovery_p95_;
  QComboBox* kind_;
  QLabel* fault_;
};

/// Why a needle cannot be used, in words of the screen; empty where it can.
[[nodiscard]] std::string needle_fault(const Needle& needle, const std::vector<Needle>& known);

}  // namespace leastharm
