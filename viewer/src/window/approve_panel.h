#pragma once

#include "window/panel.h"
#include "window/versions.h"

namespace leastharm {

/// Two states of a plan on the body: the former tracks dashed, the present ones solid.
class ComparePicture : public QWidget {
 public:
  explicit ComparePicture(Desk& desk, QWidget* parent = nullptr);
  void show_former(const CaseFile* former);

 protected:
  void paintEvent(QPaintEvent*) override;

 private:
  Desk& desk_;
  const CaseFile* former_ = nullptr;
  QImage image_;
  std::shared_ptr<const BodyViews> drawn_;
};

/// What an approval covers, what changed since a former state, and the statements.
class ApprovePanel : public Panel {
 public:
  explicit ApprovePanel(Desk& desk);
  void refresh(unsigned changed) override;
  void opened() override;

 private:
  void fill_statements();
  void fill_parts();
  void compare();
  void state(bool declined);

  QLabel *plan_, *parts_, *changes_, *statements_;
  QComboBox *former_, *role_;
  QLineEdit *by_, *condition_, *note_;
  QPushButton *approve_, *decline_;
  ComparePicture* picture_;
  std::vector<PlanVersion> versions_;
};

}  // namespace leastharm
