#pragma once

#include <QWidget>
#include <functional>
#include <vector>

#include "planner/request.h"

class QCheckBox;
class QDoubleSpinBox;
class QGridLayout;

namespace leastharm {

/// Needles as one list: those given first, of equal ones only the first.
[[nodiscard]] std::vector<Needle> distinct_needles(const std::vector<std::vector<Needle>>& lists);
/// Its name, or its measures where it has none.
[[nodiscard]] std::string spoken(const Needle& needle);

/// A number in a field that shows fewer digits than it may have: it stays exact until a person changes it.
struct ExactNumber {
  QDoubleSpinBox* field = nullptr;
  double factor = 1;  ///< of what is shown: 100 for a share in per cent
  double exact = 0, shown = 0;

  void show(double value);
  [[nodiscard]] double value() const;
};

/// What one mm3 of each material, a hole and a keep-out weigh.
class WeightRows : public QWidget {
 public:
  explicit WeightRows(std::function<void()> changed);
  void show_weights(const Weights& weights);
  [[nodiscard]] Weights weights() const;

 private:
  PerMaterial<ExactNumber> material_{};  ///< no field for air and support, which cost nothing
  ExactNumber hole_, protected_;
};

/// What a track must keep to, and how far a needle lands from its aim.
class LimitRows : public QWidget {
 public:
  explicit LimitRows(std::function<void()> changed);
  void show_limits(const Limits& limits, const Placement& placement);
  /// Writes the fields into a request file.
  void read_into(RequestFile& file) const;

 private:
  ExactNumber clearance_, entry_angle_, tilt_, bone_, margin_, holes_, enough_, touch_, aside_, depth_;
};

/// Which needles a search may choose from.
class NeedleRows : public QWidget {
 public:
  explicit NeedleRows(std::function<void()> changed);
  void show_needles(const std::vector<Needle>& chosen);
  /// Empty where none is chosen.
  [[nodiscard]] std::vector<Needle> needles() const;

 private:
  struct Row {
    Needle needle;
    QCheckBox* box;
  };
  /// A needle that the catalogue does not hold; chosen at once.
  void add_own(const Needle& needle);

  std::function<void()> changed_;
  QGridLayout* grid_;
  std::vector<Needle> known_;
  std::vector<Row> rows_;
};

}  // namespace leastharm
