#pragma once

#include "window/panel.h"

class QCheckBox;
class QListWidget;

namespace leastharm {

/// Marks: setting them by ball, by connected material, by outlines on sparse slices, by a whole
/// material; waivers; and the brush that corrects materials.
class MarksPanel : public Panel {
 public:
  explicit MarksPanel(Desk& desk);
  void refresh(unsigned changed) override;
  void closed() override;
  bool take_tool(Tool tool, const std::vector<Vec3>& points) override;

 private:
  void add_new_mark();
  void add_brush();
  void add_list();
  void use(Tool tool, bool on);
  [[nodiscard]] MarkRecipe recipe() const;
  void fill_list();
  /// The mark that is chosen in the list; null where none is.
  [[nodiscard]] const MarkRecord* chosen_mark() const;
  void say_outlines();

  QComboBox *kind_, *material_, *brush_to_;
  QLineEdit *name_, *by_, *why_;
  QDoubleSpinBox *weight_, *zone_weight_, *radius_, *brush_;
  QLabel *weight_label_, *zone_weight_label_;
  QPushButton *ball_, *connected_, *outline_, *fill_, *drop_, *whole_, *brush_button_, *remove_, *waive_;
  QCheckBox* border_;
  QLabel* drawn_;
  QListWidget* list_;
};

}  // namespace leastharm
