#pragma once

#include <array>
#include <string>

#include "window/panel.h"

namespace leastharm {

/// The track in hand in numbers: needle, request, length, places; what it costs, part by part.
class NeedlePanel : public Panel {
 public:
  explicit NeedlePanel(Desk& desk);
  void refresh(unsigned changed) override;
  bool take_tool(Tool tool, const std::vector<Vec3>& points) override;

 private:
  void fill_choices();
  void fill_measures();
  void fill_figures();
  void move_from_fields();
  QComboBox *needle_, *request_;
  std::array<QDoubleSpinBox*, 5> measures_{};  ///< outer, bore, throw, usable, dead tip
  QDoubleSpinBox* length_;
  std::array<QDoubleSpinBox*, 3> entry_{}, tip_{};
  QPushButton *add_, *remove_;
  QLabel *figures_, *damage_;
  std::vector<Needle> needles_;
  std::string filled_for_;  ///< track whose choices the fields show
  bool setting_ = false;
};

}  // namespace leastharm
