#pragma once

#include <memory>

#include "scene/solid_scene.h"
#include "window/job_queue.h"
#include "window/panel.h"

class QCheckBox;
class QVTKOpenGLNativeWidget;

namespace leastharm {

/// The body in the round, made when it is first looked at.
class SolidPanel : public Panel {
 public:
  explicit SolidPanel(Desk& desk);
  ~SolidPanel() override;
  void refresh(unsigned changed) override;
  void opened() override;
  [[nodiscard]] double wanted_part() const override { return 0.5; }
  /// Whether the newest body is on the screen.
  [[nodiscard]] bool is_drawn() const {
    return !making_ && (!desk_.ready() || made_of_ == desk_.bench.ground().volumes.materials.get());
  }

 private:
  void make_body();
  void place_tracks();
  void look(int way);
  void render();
  QVTKOpenGLNativeWidget* canvas_ = nullptr;
  std::unique_ptr<SolidScene> scene_;
  QCheckBox* cut_;
  std::vector<std::pair<Material, QCheckBox*>> shown_;
  QLabel* state_;
  const void* made_of_ = nullptr;
  bool making_ = false, looked_ = false;
  double triangles_ = 0;
  std::shared_ptr<bool> alive_ = std::make_shared<bool>(true);
  JobQueue jobs_;
};

}  // namespace leastharm
