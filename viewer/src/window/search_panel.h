#pragma once

#include "window/assay_rows.h"
#include "window/panel.h"
#include "window/request_rows.h"
#include "window/search_pictures.h"

namespace leastharm {

/// What the laboratory asks, and the search for it.
class SearchPanel : public Panel {
 public:
  explicit SearchPanel(Desk& desk);
  void refresh(unsigned changed) override;
  void opened() override { desk_.bench.compare_kept(); }

 private:
  void add_request();
  void add_folds();
  void add_search();
  void fill_request();
  /// Gives the fields to the case; false where they make no request, which is then said.
  bool take_request();

  QComboBox *which_, *cavity_, *material_, *sides_;
  QDoubleSpinBox *retain_, *replicates_, *spacing_, *particle_, *gap_, *time_;
  QLabel* state_;
  AssayRows* assays_;
  NeedleRows* needles_;
  LimitRows* limits_;
  WeightRows* weights_;
  QPushButton *start_, *adopt_;
  GapCurve* curve_;
  std::string lacking_;  ///< what the fields lack to be a request; empty where they are one
  bool setting_ = false;
};

}  // namespace leastharm
