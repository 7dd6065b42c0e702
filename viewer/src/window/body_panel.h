#pragma once

#include "window/panel.h"

namespace leastharm {

/// The body's own directions: proposed, drawn on the body, turned by hand where the proposal is
/// wrong, and confirmed by a named person.
class BodyPanel : public Panel {
 public:
  explicit BodyPanel(Desk& desk);
  void refresh(unsigned changed) override;
  void opened() override;
  void closed() override;
  bool take_tool(Tool tool, const std::vector<Vec3>& points) override;

 private:
  void turn(const std::function<void(BodyFrame&)>& how);
  void describe();
  BodyFrame frame_;
  QLabel *proposal_, *state_;
  QPushButton *head_, *front_, *quarter_, *midline_, *confirm_;
  QLineEdit* by_;
};

}  // namespace leastharm
