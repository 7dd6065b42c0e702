#include "scene/solid_scene.h"

#include <fontconfig/fontconfig.h>
#include <vtkActor.h>
#include <vtkBillboardTextActor3D.h>
#include <vtkCallbackCommand.h>
#include <vtkCamera.h>
#include <vtkCylinderSource.h>
#include <vtkDiskSource.h>
#include <vtkPlane.h>
#include <vtkPolyDataMapper.h>
#include <vtkProperty.h>
#include <vtkRenderWindow.h>
#include <vtkRenderer.h>
#include <vtkTextProperty.h>
#include <vtkTransform.h>
#include <vtkTransformPolyDataFilter.h>
#include <vtkUnsignedCharArray.h>

#include <algorithm>
#include <cmath>

#include "imaging/error.h"
#include "ink.h"
#include "planner/cylinder.h"
#include "scene/surface.h"

namespace leastharm {
namespace {

constexpr double kBehind = 2;  // polygon offset, factor and units alike
constexpr double kNameAlongSight = 0.85;
constexpr double kNameBeyondMm = 30;  // the object's box
constexpr double kTrackNameBeyondMm = 9;  // the needle's outer end
constexpr double kHoleLiftMm = 0.8;  // off the surface, so that the hole is not hidden in it

/// File of the window's typeface; empty where it is not installed (VTK's own then serves).
std::string typeface_file() {
  std::string file;
  FcPattern* wanted = FcNameParse(reinterpret_cast<const FcChar8*>("Lato:semibold"));
  FcConfigSubstitute(nullptr, wanted, FcMatchPattern);
  FcDefaultSubstitute(wanted);
  FcResult result{};
  if (FcPattern* found = FcFontMatch(nullptr, wanted, &result)) {
    FcChar8* name = nullptr;
    if (FcPatternGetString(found, FC_FILE, 0, &name) == FcResultMatch)
      file = reinterpret_cast<const char*>(name);
    FcPatternDestroy(found);
  }
  FcPatternDestroy(wanted);
  return file.find("Lato") == std::string::npos ? "" : file;
}

/// A frame whose y axis is `axis`, as VTK's cylinders stand.
vtkSmartPointer<vtkTransform> standing_along(const Vec3& centre, const Vec3& axis) {
  const auto [x, z] = across(axis);
  auto transform = vtkSmartPointer<vtkTransform>::New();
  const std::array<double, 16> m{x.x(), axis.x(),   z.x(), centre.x(), x.y(), axis.y(),
                                 z.y(), centre.y(), x.z(), axis.z(),   z.z(), centre.z(),
                                 0,     0,          0,     1};
  transform->SetMatrix(m.data());
  return transform;
}

vtkSmartPointer<vtkPolyData> cylinder_mesh(const Vec3& from, const Vec3& axis, double length_mm,
                                           double radius_mm) {
  vtkNew<vtkCylinderSource> source;
  source->SetRadius(radius_mm);
  source->SetHeight(length_mm);
  source->SetResolution(48);
  vtkNew<vtkTransformPolyDataFilter> move;
  move->SetInputConnection(source->GetOutputPort());
  move->SetTransform(standing_along(from + length_mm / 2 * axis, axis));
  move->Update();
  return move->GetOutput();
}

/// The hole at true size: the ellipse in which the cylinder meets the surface's plane.
vtkSmartPointer<vtkPolyData> hole_mesh(const Track& track, const Vec3& outward) {
  const Vec3 axis = axis_of(track);
  const double slope = std::max(0.05, std::abs(axis.dot(outward)));
  Vec3 along = axis - axis.dot(outward) * outward;
  along = along.norm() > 1e-6 ? Vec3(along.normalized()) : across(outward)[0];
  const Vec3 side = outward.cross(along);
  vtkNew<vtkDiskSource> source;
  source->SetInnerRadius(0);
  source->SetOuterRadius(track.needle.outer_mm / 2);
  source->SetCircumferentialResolution(48);
  vtkNew<vtkTransform> transform;
  const Vec3 wide = along / slope, at = track.entry_lps_mm + kHoleLiftMm * outward;
  const std::array<double, 16> m{
      wide.x(), side.x(), outward.x(), at.x(), wide.y(), side.y(), outward.y(), at.y(),
      wide.z(), side.z(), outward.z(), at.z(), 0,        0,        0,           1};
  transform->SetMatrix(m.data());
  vtkNew<vtkTransformPolyDataFilter> move;
  move->SetInputConnection(source->GetOutputPort());
  move->SetTransform(transform);
  move->Update();
  return move->GetOutput();
}

vtkSmartPointer<vtkActor> actor_of(vtkPolyData* mesh, Rgb colour) {
  vtkNew<vtkPolyDataMapper> mapper;
  mapper->SetInputData(mesh);
  mapper->ScalarVisibilityOff();
  auto actor = vtkSmartPointer<vtkActor>::New();
  actor->SetMapper(mapper);
  actor->GetProperty()->SetColor(colour.red, colour.green, colour.blue);
  actor->GetProperty()->SetSpecular(0.06);
  actor->GetProperty()->SetAmbient(0.12);
  return actor;
}

}  // namespace

struct SolidScene::Parts {
  vtkNew<vtkRenderer> renderer;
  vtkNew<vtkPlane> plane;
  struct Shell {
    vtkSmartPointer<vtkActor> actor;
    vtkSmartPointer<vtkPolyData> mesh;
    bool shown = true;
  };
  Shell object;
  PerMaterial<Shell> materials;
  std::vector<vtkSmartPointer<vtkActor>> tracks;
  std::vector<vtkSmartPointer<vtkBillboardTextActor3D>> track_names;
  std::vector<std::pair<vtkSmartPointer<vtkBillboardTextActor3D>, Vec3>> names;
  bool clipped = false;
  Vec3 low{0, 0, 0}, high{0, 0, 0};
  std::string typeface = typeface_file();

  [[nodiscard]] vtkSmartPointer<vtkBillboardTextActor3D> text(const std::string& words, const Vec3& at,
                                                              int letters_px) const {
    auto actor = vtkSmartPointer<vtkBillboardTextActor3D>::New();
    actor->SetInput(words.c_str());
    actor->SetPosition(at.x(), at.y(), at.z());
    vtkTextProperty* property = actor->GetTextProperty();
    property->SetFontSize(letters_px);
    property->SetColor(kInk.red, kInk.green, kInk.blue);
    property->SetJustificationToCentered();
    property->SetVerticalJustificationToCentered();
    if (!typeface.empty()) {
      property->SetFontFamily(VTK_FONT_FILE);
      property->SetFontFile(typeface.c_str());
    }
    return actor;
  }
  /// `behind`: gives way where another surface lies in the same place.
  void add(Shell& shell, const SurfacePtr& surface, Rgb colour, bool behind) {
    if (shell.actor) renderer->RemoveActor(shell.actor);
    shell.actor = nullptr;
    if (!surface) return;
    shell.mesh = surface->mesh;
    shell.actor = actor_of(shell.mesh, colour);
    if (behind) {
      shell.actor->GetMapper()->SetResolveCoincidentTopologyToPolygonOffset();
      shell.actor->GetMapper()->SetRelativeCoincidentTopologyPolygonOffsetParameters(kBehind, kBehind);
    }
    renderer->AddActor(shell.actor);
  }
  void clip(const Shell& shell, bool whole) {
    if (!shell.actor) return;
    auto* mapper = vtkPolyDataMapper::SafeDownCast(shell.actor->GetMapper());
    mapper->RemoveAllClippingPlanes();
    if (clipped && !whole) mapper->AddClippingPlane(plane);
    shell.actor->SetVisibility(shell.shown);
  }
  /// A name that lies behind or before the body would stand on it.
  void hide_names_along_sight() {
    Vec3 sight;
    renderer->GetActiveCamera()->GetDirectionOfProjection(sight.data());
    for (const auto& [actor, direction] : names)
      actor->SetVisibility(std::abs(direction.dot(sight)) < kNameAlongSight);
  }
  void apply() {
    clip(object, false);
    for (std::size_t m = 0; m < kMaterialCount; ++m)
      clip(materials[m], static_cast<Material>(m) == Material::dense);
    renderer->ResetCameraClippingRange();
  }
};

SolidScene::SolidScene() : parts_(std::make_unique<Parts>()) {
  parts_->renderer->SetBackground(247 / 255.0, 246 / 255.0, 243 / 255.0);
  parts_->renderer->GetActiveCamera()
      ->ParallelProjectionOn();  // lengths compare across the picture
  parts_->renderer->SetTwoSidedLighting(true);
  vtkNew<vtkCallbackCommand> before;
  before->SetClientData(parts_.get());
  before->SetCallback([](vtkObject*, unsigned long, void* parts, void*) {
    static_cast<Parts*>(parts)->hide_names_along_sight();
  });
  parts_->renderer->AddObserver(vtkCommand::StartEvent, before);
}

SolidScene::~SolidScene() = default;

vtkRenderer* SolidScene::renderer() const { return parts_->renderer; }

void SolidScene::set_body(const SolidBody& body) {
  Parts& p = *parts_;
  p.low = body.low_lps_mm;
  p.high = body.high_lps_mm;
  p.add(p.object, body.object,
        {0.87, 0.80, 0.66}, true);  // linen: the outermost surface, whatever it is made of
  for (std::size_t m = 0; m < kMaterialCount; ++m)
    p.add(p.materials[m], body.materials[m], colour_of(static_cast<Material>(m)), m == static_cast<std::size_t>(Material::body));
  p.apply();
}

void SolidScene::show(Material material, bool shown) {
  Parts::Shell& shell = material == Material::wrapping
                            ? parts_->object
                            : parts_->materials[static_cast<std::size_t>(material)];
  shell.shown = shown;
  parts_->apply();
}

void SolidScene::set_tracks(const std::vector<ShownTrack>& tracks, int letters_px) {
  Parts& p = *parts_;
  for (const auto& actor : p.tracks) p.renderer->RemoveActor(actor);
  for (const auto& actor : p.track_names) p.renderer->RemoveActor(actor);
  p.tracks.clear();
  p.track_names.clear();
  const auto add = [&](vtkPolyData* mesh, Rgb colour) {
    p.tracks.push_back(actor_of(mesh, colour));
    p.renderer->AddActor(p.tracks.back());
  };
  for (const ShownTrack& t : tracks) {
    const Vec3 axis = axis_of(t.track);
    const Cylinder outer = outer_cylinder(t.track), core = core_cylinder(t.track);
    const double outside = t.in_hand ? 45 : 14;
    add(cylinder_mesh(outer.start - outside * axis, axis, outer.length_mm + outside,
                      outer.radius_mm),
        t.in_hand ? Rgb{0.94, 0.89, 0.26} : Rgb{0.62, 0.62, 0.64});
    add(cylinder_mesh(core.start, axis, core.length_mm, outer.radius_mm * 1.04),
        {0.10, 0.10, 0.12});
    add(hole_mesh(t.track, t.outward), {0.05, 0.05, 0.06});
    if (t.track.id.empty()) continue;
    const auto name = p.text(t.track.id, outer.start - (outside + kTrackNameBeyondMm) * axis, letters_px);
    name->SetDisplayOffset(letters_px, letters_px / 2);  // a needle seen end on stays in sight
    p.track_names.push_back(name);
    p.renderer->AddActor(p.track_names.back());
  }
  p.renderer->ResetCameraClippingRange();
}

void SolidScene::set_clip(const std::optional<std::pair<Vec3, Vec3>>& point_and_normal) {
  parts_->clipped = point_and_normal.has_value();
  if (point_and_normal) {
    Vec3 origin = point_and_normal->first,
         normal = -point_and_normal->second;  // VTK keeps the positive side
    parts_->plane->SetOrigin(origin.data());
    parts_->plane->SetNormal(normal.data());
  }
  parts_->apply();
}

void SolidScene::set_names(const std::vector<NamedDirection>& names, int letters_px) {
  Parts& p = *parts_;
  for (const auto& [actor, direction] : p.names) p.renderer->RemoveActor(actor);
  p.names.clear();
  const Vec3 middle = (p.low + p.high) / 2, half = (p.high - p.low) / 2;
  for (const NamedDirection& named : names) {
    // Just beyond the box that holds the object, along the direction.
    const double reach = named.direction.cwiseAbs().dot(half) + kNameBeyondMm;
    const auto actor = p.text(named.name, middle + reach * named.direction, letters_px);
    p.renderer->AddActor(actor);
    p.names.emplace_back(actor, named.direction);
  }
}

void SolidScene::look_from(const Vec3& toward, const Vec3& up) {
  const Vec3 middle = (parts_->low + parts_->high) / 2, eye = middle + 2000 * toward;
  vtkCamera* camera = parts_->renderer->GetActiveCamera();
  camera->SetFocalPoint(middle.data());
  camera->SetPosition(eye.data());
  camera->SetViewUp(up.data());
  std::array<double, 6> box{parts_->low.x() - 25,  parts_->high.x() + 25, parts_->low.y() - 25,
                            parts_->high.y() + 25, parts_->low.z() - 25,  parts_->high.z() + 25};
  parts_->renderer->ResetCamera(box.data());
}

void SolidScene::look_at(const Vec3& centre, double radius_mm) {
  vtkCamera* camera = parts_->renderer->GetActiveCamera();
  Vec3 direction;
  camera->GetDirectionOfProjection(direction.data());
  const Vec3 eye = centre - 2000 * direction;
  camera->SetFocalPoint(centre.data());
  camera->SetPosition(eye.data());
  camera->SetParallelScale(radius_mm);
  parts_->renderer->ResetCameraClippingRange();
}

Picture SolidScene::draw(int width_px, int height_px) {
  vtkNew<vtkRenderWindow> window;
  window->SetOffScreenRendering(true);
  window->SetMultiSamples(0);
  window->SetSize(width_px, height_px);
  window->AddRenderer(parts_->renderer);
  if (window->SupportsOpenGL() == 0)
    throw BadInput(
        "this machine cannot draw in three dimensions: OpenGL 3.2 is missing (Debian's package "
        "libgl1-mesa-dri draws without a graphics card)");
  window->Render();
  vtkNew<vtkUnsignedCharArray> pixels;
  window->GetRGBACharPixelData(0, 0, width_px - 1, height_px - 1, 0, pixels);
  Picture picture{width_px, height_px, {}};
  picture.rgb.resize(static_cast<std::size_t>(width_px) * static_cast<std::size_t>(height_px) * 3);
  for (int row = 0; row < height_px; ++row)
    for (int column = 0; column < width_px; ++column)
      for (int part = 0; part < 3; ++part)
        picture.rgb[(static_cast<std::size_t>(row) * static_cast<std::size_t>(width_px) +
                     static_cast<std::size_t>(column)) *
                        3 +
                    static_cast<std::size_t>(part)] =
            pixels->GetValue((static_cast<vtkIdType>(height_px - 1 - row) * width_px + column) * 4 +
                             part);
  window->RemoveRenderer(parts_->renderer);
  return picture;
}

std::string drawn_by(vtkRenderWindow& window) {
  const char* report = window.ReportCapabilities();
  const std::string text = report == nullptr ? "" : report;
  const std::string key = "OpenGL renderer string:";
  const std::size_t at = text.find(key);
  if (at == std::string::npos) return "";
  const std::size_t from = text.find_first_not_of(' ', at + key.size());
  return text.substr(from, text.find('\n', from) - from);
}

}  // namespace leastharm
