#pragma once

#include "window/panel.h"
#include "window/search_pictures.h"

namespace leastharm {

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
