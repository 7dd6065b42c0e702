#include "window/solid_panel.h"

#include <QVTKOpenGLNativeWidget.h>
#include <vtkGenericOpenGLRenderWindow.h>
#include <vtkRenderer.h>

#include <QCheckBox>
#include <QCoreApplication>
#include <QElapsedTimer>
#include <QHBoxLayout>
#include <QPushButton>

#include "planner/cylinder.h"
#include "planner/entry.h"
#include "words.h"

namespace leastharm {
namespace {

constexpr double kSlowSeconds = 0.1;

}  // namespace

SolidPanel::SolidPanel(Desk& desk) : Panel(desk, word("panel.solid")) {
  std::vector<QWidget*> ways;
  const QString names[] = {word("solid.front"), word("solid.left"), word("solid.head"),
                           word("solid.needle")};
  for (int way = 0; way < 4; ++way) {
    auto* button = make_button(names[way]);
    connect(button, &QPushButton::clicked, this, [this, way] { look(way); });
    ways.push_back(button);
  }
  add_row(ways);
  cut_ = new QCheckBox(word("solid.cut"));
  connect(cut_, &QCheckBox::toggled, this, [this] { place_tracks(); });
  add_row({cut_});
  std::vector<QWidget*> boxes;
  for (const Material m : {Material::wrapping, Material::body, Material::packing, Material::bone,
                           Material::resin, Material::dense}) {
    auto* box = new QCheckBox(m == Material::wrapping ? word("solid.surface") : q(spoken(m)));
    box->setChecked(true);
    connect(box, &QCheckBox::toggled, this, [this, m](bool on) {
      if (scene_) scene_->show(m, on);
      render();
    });
    boxes.push_back(box);
    shown_.emplace_back(m, box);
  }
  add_row(boxes);
  state_ = add_note({});
}

SolidPanel::~SolidPanel() { *alive_ = false; }

void SolidPanel::opened() {
  if (canvas_ == nullptr) {
    canvas_ = new QVTKOpenGLNativeWidget(this);
    canvas_->setSizePolicy(QSizePolicy::Expanding, QSizePolicy::Expanding);
    vtkNew<vtkGenericOpenGLRenderWindow> window;
    window->SetMultiSamples(0);
    canvas_->setRenderWindow(window);
    scene_ = std::make_unique<SolidScene>();
    canvas_->renderWindow()->AddRenderer(scene_->renderer());
    column_->insertWidget(column_->count() - 1, canvas_, 1);
  }
  refresh(kGroundChanged);
}

void SolidPanel::make_body() {
  making_ = true;
  state_->setText(word("solid.making"));
  jobs_.add([this, alive = alive_, ground = desk_.bench.ground_ptr()] {
    auto body = std::make_shared<SolidBody>(make_solid_body(ground->body));
    QMetaObject::invokeMethod(
        QCoreApplication::instance(),
        [this, alive, body, ground] {
          if (!*alive) return;
          making_ = false;
          made_of_ = ground->volumes.materials.get();
          scene_->set_body(*body);
          triangles_ = static_cast<double>(measure(body->object).triangles);
          if (!looked_) look(0);
          place_tracks();
        },
        Qt::QueuedConnection);
  });
}

void SolidPanel::place_tracks() {
  if (!scene_ || !desk_.ready()) return;
  const Directions d = desk_.directions();
  const int letters_px = desk_.look.px(1.15);
  std::vector<NamedDirection> names;
  for (const Vec3& way : {d.head, Vec3(-d.head), d.left, Vec3(-d.left), d.front, Vec3(-d.front)})
    names.push_back({words_for(way, d), way});
  scene_->set_names(names, letters_px);
  std::vector<SolidScene::ShownTrack> tracks;
  const Body& body = desk_.bench.ground().body;
  for (std::size_t n = 0; n < desk_.bench.tracks().size(); ++n) {
    Track track = n == desk_.bench.in_hand() ? desk_.shown_track() : desk_.bench.tracks()[n];
    tracks.push_back({track, outward_normal(body, track.entry_lps_mm).value_or(-axis_of(track)),
                      n == desk_.bench.in_hand()});
  }
  scene_->set_tracks(tracks, letters_px);
  if (cut_->isChecked() && desk_.bench.has_track())
    scene_->set_clip(std::pair{desk_.section().entry, desk_.section().across()});
  else
    scene_->set_clip(std::nullopt);
  render();
}

void SolidPanel::look(int way) {
  if (!scene_ || !desk_.ready()) return;
  const BodyFrame frame = drawing_frame(desk_.bench.file());
  looked_ = true;
  if (way == 0) scene_->look_from(frame.front, frame.head);
  if (way == 1) scene_->look_from(frame.left(), frame.head);
  if (way == 2) scene_->look_from(frame.head, frame.front);
  if (way == 3 && desk_.bench.has_track()) {
    cut_->setChecked(true);  // else the body hides the needle
    const Track track = desk_.shown_track();
    scene_->look_from((desk_.section().across() + 0.35 * desk_.section().up).normalized(),
                      desk_.section().up);
    scene_->look_at((track.entry_lps_mm + track.tip_lps_mm) / 2,
                    std::max(60.0, 0.9 * path_length_mm(track)));
  }
  render();
}

void SolidPanel::render() {
  if (canvas_ == nullptr || !isVisible() || making_) return;
  QElapsedTimer timer;
  timer.start();
  canvas_->renderWindow()->Render();
  const double seconds = static_cast<double>(timer.nsecsElapsed()) * 1e-9;
  const std::string by = drawn_by(*canvas_->renderWindow());
  const bool software = by.find("llvmpipe") != std::string::npos ||
                        by.find("softpipe") != std::string::npos ||
                        by.find("SWR") != std::string::npos;
  state_->setText(software || seconds > kSlowSeconds
                      ? q(say("solid.slow", number(1000 * seconds, 0), by))
                      : word("solid.hint"));
}

void SolidPanel::refresh(unsigned changed) {
  if (!desk_.ready() || !scene_ || making_) return;
  if (made_of_ != desk_.bench.ground().volumes.materials.get()) return make_body();
  if (changed & (kTrackMoved | kFiguresChanged | kDraftChanged | kGroundChanged)) place_tracks();
}

}  // namespace leastharm
