#pragma once

#include <QWidget>
#include <functional>
#include <vector>

#include "planner/request.h"

class QDoubleSpinBox;
class QGridLayout;
class QLineEdit;

namespace leastharm {

/// The analyses of a request, one a row: its name and what it uses up. The last row is always free for one more; a row
/// whose name is cleared goes.
class AssayRows : public QWidget {
 public:
  explicit AssayRows(std::function<void()> changed);
  void show_assays(const std::vector<Assay>& assays);
  [[nodiscard]] std::vector<Assay> assays() const;

 private:
  struct Row {
    QLineEdit* name;
    QDoubleSpinBox* uses_mg;
  };
  void add_row();

  std::function<void()> changed_;
  QGridLayout* grid_;
  std::vector<Row> rows_;   ///< never taken away, only hidden: one of them may be in use right now
};

}  // namespace leastharm
