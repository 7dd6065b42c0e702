#pragma once

#include "window/assay_rows.h"
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
  void add_weights();
  void add_search();
  void fill_request();
  void fill_weights(const Weights& weights);
  [[nodiscard]] Weights weights() const;
  void take_request();

  QComboBox *which_, *cavity_, *material_, *sides_;
  QDoubleSpinBox *retain_, *replicates_, *spacing_, *particle_, *gap_, *time_;
  QLabel* state_;
  AssayRows* assays_;
  QWidget* weights_;
  PerMaterial<QDoubleSpinBox*> weight_{};   ///< null for air and support, which cost nothing
  QDoubleSpinBox *hole_, *protected_;
  QPushButton *start_, *adopt_;
  GapCurve* curve_;
  Alternatives* alternatives_;
  bool setting_ = false;
};

}  // namespace leastharm
