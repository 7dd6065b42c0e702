// The needle, marks, search and approval in the real window, with synthetic mouse and keys.
#include <QDoubleSpinBox>
#include <set>

#include "planner/cylinder.h"
#include "planner/text.h"
#include "support/real_window.h"

namespace leastharm {
namespace {

using test::RealWindow;

TEST_F(RealWindow, DraggingTheTipInTheSectionMovesItAsFarAsThePointer) {
  open();
  const Track before = bench().track();
  const double mm_per_px = 1 / window->desk().axis(window->section().width()).px_per_mm();
  const QPointF tip = window->section().tip_at();
  drag(window->section(), tip, tip + QPointF(30, -12));
  wait();
  const Vec3 moved = bench().track().tip_lps_mm - before.tip_lps_mm;
  EXPECT_NEAR(moved.norm(), std::hypot(30, 12) * mm_per_px, 2 * mm_per_px);
  EXPECT_GT(moved.dot(axis_of(before)), 0) << "to the right is deeper";
  EXPECT_EQ(bench().figures_of(0)->assessment.track.tip_lps_mm, bench().track().tip_lps_mm);
  EXPECT_EQ(bench().undo_text(), "move T1") << "one drag is one step";
  QTest::keyClick(window.get(), Qt::Key_Z, Qt::ControlModifier);
  EXPECT_EQ(bench().track().tip_lps_mm, before.tip_lps_mm);
}

TEST_F(RealWindow, DraggingTheEntryInTheScannersSliceKeepsTheTip) {
  open();
  const Track before = bench().track();
  const QPointF entry = window->axial().entry_at();
  drag(window->axial(), entry, entry + QPointF(18, 0));
  wait();
  EXPECT_EQ(bench().track().tip_lps_mm, before.tip_lps_mm);
  EXPECT_GT((bench().track().entry_lps_mm - before.entry_lps_mm).norm(), 4);
  EXPECT_TRUE(bench().figures_of(0)->fault.empty());
  EXPECT_NEAR(
      (bench().figures_of(0)->assessment.track.entry_lps_mm - bench().track().entry_lps_mm).norm(),
      0, 1e-6)
      << "the case keeps the place on the surface";
}

/// Part of a picture's 2 x 2 squares, from a corner on, that have one colour.
double alike_squares(const QImage& picture, int from_x, int from_y) {
  int alike = 0, all = 0;
  for (int y = from_y; y + 1 < picture.height(); y += 2)
    for (int x = from_x; x + 1 < picture.width(); x += 2, ++all) {
      const QRgb p = picture.pixel(x, y);
      alike += p == picture.pixel(x + 1, y) && p == picture.pixel(x, y + 1) && p == picture.pixel(x + 1, y + 1);
    }
  return static_cast<double>(alike) / all;
}

TEST_F(RealWindow, ALargePictureIsCoarseWhileItsPlaneTurnsAndFineOnceItRests) {
  open(2400, 1300);
  const QPointF tip = window->axial().tip_at();
  const QRect where(window->section().width() / 3, 0, window->section().width() / 2, window->section().height());
  const auto coarseness = [&] {
    const QImage picture = window->section().grab(where).toImage();
    const auto [least, most] =
        std::minmax({alike_squares(picture, 0, 0), alike_squares(picture, 1, 0), alike_squares(picture, 0, 1),
                     alike_squares(picture, 1, 1)});
    return most - least;  // whichever corner the doubled pixels begin at
  };
  EXPECT_LT(coarseness(), 0.05);
  QTest::mousePress(&window->axial(), Qt::LeftButton, Qt::NoModifier, tip.toPoint());
  QMouseEvent move(QEvent::MouseMove, tip + QPointF(9, 5), Qt::NoButton, Qt::LeftButton, Qt::NoModifier);
  QApplication::sendEvent(&window->axial(), &move);
  EXPECT_GT(coarseness(), 0.2);
  QTest::mouseRelease(&window->axial(), Qt::LeftButton, Qt::NoModifier, (tip + QPointF(9, 5)).toPoint());
  wait();
  EXPECT_LT(coarseness(), 0.05);
}

TEST_F(RealWindow, DraggingAcrossTheNeedleShiftsAllOfIt) {
  open();
  const Track before = bench().track();
  const QPointF centre = QRectF(window->across().rect()).center();
  drag(window->across(), centre, centre + QPointF(0, -20));
  wait();
  const Vec3 moved = bench().track().tip_lps_mm - before.tip_lps_mm;
  EXPECT_GT(moved.norm(), 1);
  EXPECT_NEAR(axis_of(bench().track()).dot(axis_of(before)), 1, 1e-3) << "the direction stays";
  EXPECT_GT(moved.dot(bench().file().frame->head), 0) << "up is toward the head";
}

TEST_F(RealWindow, DraggingInTheStripMovesTowardTheHead) {
  open();
  const Vec3 before = bench().track().tip_lps_mm;
  const QPointF tip = window->strip().screen_of(before);
  drag(window->strip(), tip, tip + QPointF(-20, 0));
  EXPECT_GT((bench().track().tip_lps_mm - before).dot(bench().file().frame->head), 1)
      << "the head lies to the left";
}

TEST_F(RealWindow, KeysMoveTheNeedleInMillimetresAndDegrees) {
  open();
  const Track before = window->desk().shown_track();
  QTest::keyClick(window.get(), Qt::Key_Right);
  EXPECT_NEAR(path_length_mm(bench().track()), path_length_mm(before) + 1, 1e-6);
  QTest::keyClick(window.get(), Qt::Key_Right, Qt::ShiftModifier);
  EXPECT_NEAR(path_length_mm(bench().track()), path_length_mm(before) + 6, 1e-6);
  QTest::keyClick(window.get(), Qt::Key_Left, Qt::ControlModifier);
  EXPECT_NEAR(path_length_mm(bench().track()), path_length_mm(before) + 5.8, 1e-6);
  wait();
  const Vec3 axis = axis_of(bench().track());
  QTest::keyClick(window.get(), Qt::Key_Up, Qt::AltModifier);
  EXPECT_NEAR(std::acos(axis.dot(axis_of(bench().track()))) * 180 / M_PI, 1, 0.02);
  const Vec3 tip = bench().track().tip_lps_mm;
  QTest::keyClick(window.get(), Qt::Key_W);
  QTest::keyClick(window.get(), Qt::Key_PageUp);
  EXPECT_NEAR((bench().track().tip_lps_mm - tip).norm(), 1, 1e-6);
  QTest::keyClick(window.get(), Qt::Key_2);
  EXPECT_EQ(bench().track().id, "T2");
}

TEST_F(RealWindow, TheDepthLineDrivesTheSliceAndTheReading) {
  open();
  QTest::mouseClick(&window->log(), Qt::LeftButton, Qt::NoModifier,
                    QPoint(static_cast<int>(window->desk().axis(window->log().width()).x(40)), 20));
  EXPECT_NEAR(bench().view().depth_mm, 40, 0.2);
  QTest::keyClick(window.get(), Qt::Key_Period);
  EXPECT_NEAR(bench().view().depth_mm, 41, 0.2);
}

TEST_F(RealWindow, MarksABallByAClickAndTakesItBack) {
  open();
  QTest::keyClick(window.get(), Qt::Key_M);
  ASSERT_EQ(window->drawer(), Drawer::marks);
  field<QComboBox>(Drawer::marks, 0)->setCurrentIndex(1);  // keep-out
  QTest::keyClicks(field<QLineEdit>(Drawer::marks, 0), "heart");
  QTest::mouseClick(button(window->panel(Drawer::marks), "Ball"), Qt::LeftButton);
  wait();
  const QPoint at =
      window->section().screen_of(bench().track().tip_lps_mm + Vec3(0, 0, 0)).toPoint() +
      QPoint(40, 30);
  const Vec3 there = window->section().lps_of(at);
  QTest::mouseClick(&window->section(), Qt::LeftButton, Qt::NoModifier, at);
  wait();
  const Mark* mark = bench().ground().body.find_mark("heart");
  ASSERT_NE(mark, nullptr);
  EXPECT_EQ(mark->kind, MarkKind::keep_out);
  EXPECT_TRUE(mark->mask.contains(bench().ground().body.grid.voxel_at(there)));
  EXPECT_EQ(bench().figures_of(0)->assessment.clearance_mm.count("heart"), 1u);
  QTest::keyClick(window.get(), Qt::Key_Z, Qt::ControlModifier);
  wait();
  EXPECT_EQ(bench().ground().body.find_mark("heart"), nullptr);
}

TEST_F(RealWindow, OutlinesOnTwoSlicesAreFilledInBetween) {
  open();
  window->open_drawer(Drawer::marks);
  QTest::keyClicks(field<QLineEdit>(Drawer::marks, 0), "pocket");
  QTest::mouseClick(button(window->panel(Drawer::marks), "Outlines"), Qt::LeftButton);
  wait();
  const auto outline_here = [&] {
    const QPointF c = window->axial().screen_of(window->desk().depth_point());
    QTest::mousePress(&window->axial(), Qt::LeftButton, Qt::NoModifier,
                      (c + QPointF(12, 0)).toPoint());
    for (int n = 1; n < 24; ++n) {
      const QPointF p = c + 12 * QPointF(std::cos(n * 0.26), std::sin(n * 0.26));
      QMouseEvent move(QEvent::MouseMove, p, Qt::NoButton, Qt::LeftButton, Qt::NoModifier);
      QApplication::sendEvent(&window->axial(), &move);
    }
    QTest::mouseRelease(&window->axial(), Qt::LeftButton, Qt::NoModifier,
                        (c + QPointF(12, 0)).toPoint());
  };
  outline_here();
  Track aslant = bench().track();
  aslant.tip_lps_mm += Vec3(0, 0, 12);  // so that the depth line leads to other slices
  bench().move_track(aslant);
  wait();
  window->desk().set_depth_line(70);
  wait();
  outline_here();
  EXPECT_EQ(bench().draft().outlines.size(), 2u);
  QTest::mouseClick(button(window->panel(Drawer::marks), "Fill in between"), Qt::LeftButton);
  wait();
  ASSERT_NE(bench().ground().body.find_mark("pocket"), nullptr);
  EXPECT_GT(bench().ground().body.find_mark("pocket")->mask.box[2], 1);
}

TEST_F(RealWindow, TheBrushCorrectsTheMapUnderThePointer) {
  open();
  window->open_drawer(Drawer::marks);
  field<QComboBox>(Drawer::marks, 2)->setCurrentIndex(static_cast<int>(Material::resin));
  QTest::mouseClick(button(window->panel(Drawer::marks), "Brush"), Qt::LeftButton);
  wait();
  const QPointF at = window->axial().tip_at();
  const VoxelIndex voxel =
      bench().ground().body.grid.voxel_at(window->axial().lps_of(at.toPoint()));
  ASSERT_EQ(bench().ground().body.material_at(voxel), Material::packing);
  drag(window->axial(), at, at + QPointF(6, 0));
  wait();
  EXPECT_EQ(bench().ground().body.material_at(voxel), Material::resin);
  bench().undo();
  wait();
  EXPECT_EQ(bench().ground().body.material_at(voxel), Material::packing);
}

TEST_F(RealWindow, SearchesAndAdoptsByOneKey) {
  open();
  window->open_drawer(Drawer::search);
  QTest::mouseClick(button(window->panel(Drawer::search), "Search for the least harm"),
                    Qt::LeftButton);
  ASSERT_TRUE(bench().search().running);
  wait(180'000);
  ASSERT_TRUE(bench().search().proposal && bench().search().proposal->feasible)
      << bench().search().fault;
  ASSERT_TRUE(window->comparison().isVisible());
  EXPECT_EQ(window->focusWidget(), &window->comparison()) << "the keys are where they are wanted now";
  EXPECT_EQ(window->desk().weighed().size(), bench().search().proposal->assessment.tracks.size())
      << "what is chosen there is drawn beside the plan";
  QTest::keyClick(&window->comparison(), Qt::Key_Return);
  wait();
  EXPECT_TRUE(window->desk().weighed().empty()) << "it is the plan now";
  EXPECT_EQ(bench().tracks().size(), bench().search().proposal->assessment.tracks.size());
  EXPECT_EQ(bench().undo_text(), "adopt the search's answer");
  bench().undo();
  wait();
  // Arrows choose a column; the last one is half the mass, which is another request.
  QTest::keyClick(&window->comparison(), Qt::Key_End);
  const std::vector<ComparedPlan> plans = compared_plans(*bench().search().proposal);
  ASSERT_EQ(plans.back().lesser, LesserChoice::half_the_mass);
  EXPECT_EQ(window->desk().compared, plans.size() - 1);
  if (plans.back().assessment != nullptr) {
    QTest::keyClick(&window->comparison(), Qt::Key_Return);
    wait();
    EXPECT_EQ(bench().file().request->requests[0].need_mg(), 1.5);
    EXPECT_EQ(bench().tracks().size(), plans.back().assessment->tracks.size());
    EXPECT_FALSE(bench().draft().bound) << "the bound answers another question";
    EXPECT_TRUE(bench().search_is_stale());
    const std::size_t adopted = bench().tracks().size();
    QTest::keyClick(&window->comparison(), Qt::Key_Home);
    QTest::keyClick(&window->comparison(), Qt::Key_Return);
    EXPECT_EQ(bench().tracks().size(), adopted) << "what was found for another request is not adopted";
    bench().undo();
    wait();
    EXPECT_EQ(bench().file().request->requests[0].need_mg(), 3);
    EXPECT_FALSE(bench().search_is_stale());
  }
  QTest::keyClick(&window->comparison(), Qt::Key_Home);
  QTest::keyClick(&window->comparison(), Qt::Key_Return);
  wait();
  // What was found is compared again when the case is opened another day.
  window.reset();
  open();
  EXPECT_FALSE(window->comparison().isVisible());
  window->open_drawer(Drawer::search);
  wait();
  EXPECT_TRUE(window->comparison().isVisible());
  EXPECT_EQ(compared_plans(*bench().search().proposal).size(), plans.size());
  EXPECT_NEAR(bench().search().proposal->assessment.programme.score, bench().figures().programme.score, 1e-6);
}

TEST_F(RealWindow, TheWeightOfAZoneIsChangedAfterwards) {
  open();
  const Vec3 entry = window->desk().shown_track().entry_lps_mm;
  bench().make_mark({.name = "painted face", .kind = MarkKind::zone, .weight_mm = 50, .at_lps_mm = entry, .radius_mm = 8});
  wait();
  window->open_drawer(Drawer::marks);
  wait();
  auto* list = window->panel(Drawer::marks).findChildren<QListWidget*>().front();
  const auto field = [&]() -> QDoubleSpinBox* {
    for (QDoubleSpinBox* f : window->panel(Drawer::marks).findChildren<QDoubleSpinBox*>())
      if (f->isVisible() && f->accessibleName() == "weight of a hole") return f;
    return nullptr;
  };
  list->setCurrentRow(0);
  EXPECT_EQ(field(), nullptr) << "the amulet has no weight";
  list->setCurrentRow(1);
  ASSERT_NE(field(), nullptr);
  EXPECT_EQ(field()->value(), 50);
  const double before = bench().figures_of(0)->assessment.damage.score;
  field()->setValue(80);
  wait();
  EXPECT_EQ(bench().file().marks[1].weight_mm, 80);
  EXPECT_NEAR(bench().figures_of(0)->assessment.damage.score - before,
              30 * bench().figures_of(0)->assessment.hole_area_mm2, 0.5)
      << "the whole hole lies in the zone";
  EXPECT_EQ(bench().undo_text(), "weight of painted face");
  bench().undo();
  wait();
  EXPECT_EQ(bench().file().marks[1].weight_mm, 50);
  EXPECT_EQ(field()->value(), 50) << "and the field follows";
}

TEST_F(RealWindow, AnalysesAndWeightsAreEditedInTheDrawer) {
  open();
  window->open_drawer(Drawer::search);
  QWidget& panel = window->panel(Drawer::search);
  const auto uses_mg = [&](int n) { return panel.findChildren<QDoubleSpinBox*>("assay mg")[n]; };
  const auto asked = [&] {
    std::string text;
    for (const Assay& a : bench().file().request->requests[0].assays) text += a.name + " " + brief(a.uses_mg) + ";";
    return text;
  };
  auto names = panel.findChildren<QLineEdit*>("assay");
  ASSERT_EQ(names.size(), 2) << "the request's own, and a free row";
  QTest::keyClicks(names[1], "GC-MS");
  QTest::keyClick(names[1], Qt::Key_Return);
  uses_mg(1)->setValue(5);
  wait();
  EXPECT_EQ(asked(), "analysis 3;GC-MS 5;");
  names[0]->clear();
  QTest::keyClick(names[0], Qt::Key_Return);
  wait();
  EXPECT_EQ(asked(), "GC-MS 5;");
  uses_mg(0)->setValue(0);
  wait();
  EXPECT_EQ(asked(), "GC-MS 5;") << "a request that needs no mass could not be read back";
  EXPECT_TRUE(shows("Name an analysis"));

  uses_mg(0)->setValue(5);
  auto* bone = panel.findChild<QDoubleSpinBox*>("weight bone");
  EXPECT_FALSE(bone->isVisible());
  QTest::mouseClick(button(window->panel(Drawer::search), "Weights"), Qt::LeftButton);
  EXPECT_TRUE(bone->isVisible());
  bone->setValue(2.5);
  wait();
  EXPECT_EQ(bench().file().request->weights.material[static_cast<std::size_t>(Material::bone)], 2.5);
  EXPECT_EQ(bench().figures_of(0)->assessment.damage.score, assess(bench().ground().body, *bench().file().request, bench().tracks()).tracks[0].damage.score);
  bench().undo();
  wait();
  EXPECT_EQ(bone->value(), 4);
}

TEST_F(RealWindow, ApprovesClosesAndReopens) {
  open();
  window->open_drawer(Drawer::approve);
  QTest::keyClicks(field<QLineEdit>(Drawer::approve, 0), "C. Example");
  field<QComboBox>(Drawer::approve, 1)->setCurrentIndex(1);
  QTest::mouseClick(button(window->panel(Drawer::approve), "Approve"), Qt::LeftButton);
  wait();
  ASSERT_EQ(bench().file().approvals.size(), 1u);
  EXPECT_EQ(bench().file().approvals[0].role, "conservator");
  QTest::keyClick(window.get(), Qt::Key_Right);
  wait();
  window.reset();
  open();
  ASSERT_EQ(bench().file().approvals.size(), 1u);
  EXPECT_FALSE(changed_since(bench().file().approvals[0], bench().file()).empty())
      << "the needle was moved after it";
}

TEST_F(RealWindow, SaysThatSidesAreNotConfirmedUntilTheyAre) {
  {
    CaseFolder folder = CaseFolder::open(made.root());
    folder.file.frame.reset();
    folder.save();
  }
  open();
  const auto banner_shown = [&] { return shows("Sides not confirmed"); };
  EXPECT_TRUE(banner_shown());
  window->open_drawer(Drawer::body);
  QTest::keyClicks(field<QLineEdit>(Drawer::body, 0), "R. Example");
  QTest::mouseClick(button(window->panel(Drawer::body), "Confirm the sides"), Qt::LeftButton);
  wait();
  EXPECT_TRUE(bench().file().frame);
  EXPECT_FALSE(banner_shown());
}

TEST_F(RealWindow, TheWheelAndTheKeysGoThroughTheScannersSlices) {
  open();
  const Grid& grid = bench().ground().body.grid;
  const int line = window->desk().slice_of_line();
  EXPECT_EQ(window->desk().slice_index(), line);
  QWheelEvent wheel(QPointF(20, 20), QPointF(20, 20), QPoint(), QPoint(0, 240), Qt::NoButton,
                    Qt::NoModifier, Qt::NoScrollPhase, false);
  QApplication::sendEvent(&window->axial(), &wheel);
  EXPECT_EQ(window->desk().slice_index(), line + 2) << "away from the person is toward the head";
  wait();
  const Vec3 there = window->axial().lps_of(QPointF(30, 30));
  EXPECT_EQ(grid.voxel_at(there).k, line + 2) << "the picture shows that slice";
  QTest::keyClick(window.get(), Qt::Key_End, Qt::ShiftModifier);
  EXPECT_EQ(window->desk().slice_index(), line - 3);
  window->desk().set_depth_line(20);
  EXPECT_EQ(window->desk().slice_index(), window->desk().slice_of_line());
}

TEST_F(RealWindow, AClickOnTheBodyShowsTheSliceThere) {
  open();
  const Grid& grid = bench().ground().body.grid;
  const Vec3 there = grid.lps_from_index(Vec3(grid.size[0] / 2, grid.size[1] / 2, 15));
  QTest::mouseClick(&window->strip(), Qt::LeftButton, Qt::NoModifier,
                    window->strip().screen_of(there).toPoint());
  EXPECT_NEAR(window->desk().slice_index(), 15, 1);
  EXPECT_TRUE(bench().undo_text().empty()) << "looking is not a change";
}

TEST_F(RealWindow, WithoutATrackTheSectionLiesAlongTheBody) {
  {
    CaseFolder folder = CaseFolder::open(made.root());
    folder.file.plan.tracks.clear();
    folder.save();
  }
  open();
  EXPECT_NEAR(window->desk().section().along.dot(bench().file().frame->head), -1, 1e-9)
      << "head to the left, as in the strip above";
  const Grid& grid = bench().ground().body.grid;
  std::set<int> slices;
  for (double depth = 5; depth < 155; depth += 30) {
    window->desk().set_depth_line(depth);
    EXPECT_TRUE(grid.contains(grid.voxel_at(window->desk().depth_point())));
    slices.insert(window->desk().slice_index());
  }
  EXPECT_EQ(slices.size(), 5u) << "the line leads through the slices";
  window->open_drawer(Drawer::needle);
  QTest::mouseClick(button(window->panel(Drawer::needle), "Aim a new track"), Qt::LeftButton);
  window->desk().show_slice(grid.voxel_at(made.body.left_packing_lps_mm).k);
  wait();
  QTest::mouseClick(&window->axial(), Qt::LeftButton, Qt::NoModifier,
                    window->axial().screen_of(made.body.left_packing_lps_mm).toPoint());
  wait();
  ASSERT_EQ(bench().tracks().size(), 1u);
  EXPECT_LT((bench().track().tip_lps_mm - made.body.left_packing_lps_mm).norm(), 4);
  EXPECT_TRUE(bench().figures_of(0)->fault.empty());
}

TEST_F(RealWindow, MarksAnOpeningAZoneAndWhatHangsTogether) {
  open();
  window->open_drawer(Drawer::marks);
  const auto mark = [&](int kind, const char* name, const char* way, const QPointF& at) {
    field<QComboBox>(Drawer::marks, 0)->setCurrentIndex(kind);
    field<QLineEdit>(Drawer::marks, 0)->setText(name);
    QTest::mouseClick(button(window->panel(Drawer::marks), way), Qt::LeftButton);
    QTest::mouseClick(&window->axial(), Qt::LeftButton, Qt::NoModifier, at.toPoint());
    wait();
    return bench().ground().body.find_mark(name);
  };
  wait();
  const QPointF entry = window->axial().entry_at(), tip = window->axial().tip_at();
  const Mark* opening = mark(2, "slit", "Ball", entry);
  ASSERT_NE(opening, nullptr);
  EXPECT_EQ(opening->kind, MarkKind::opening);
  const Mark* zone = mark(3, "painted face", "Ball", entry);
  ASSERT_NE(zone, nullptr);
  EXPECT_EQ(zone->weight_mm, 50);
  const Mark* cavity = mark(0, "left packing", "What hangs together", tip);
  ASSERT_NE(cavity, nullptr);
  EXPECT_EQ(cavity->mask.voxel_count(),
            connected_mask(made.body.materials, made.body.left_packing_lps_mm).voxel_count());
  for (int n = 0; n < 3; ++n) QTest::keyClick(window.get(), Qt::Key_Z, Qt::ControlModifier);
  wait();
  EXPECT_EQ(bench().file().marks.size(), 1u) << "the amulet alone";
}

TEST_F(RealWindow, WaivesWithNameAndReasonOnly) {
  open();
  window->open_drawer(Drawer::marks);
  auto* list = window->panel(Drawer::marks).findChildren<QListWidget*>().front();
  list->setCurrentRow(0);
  QTest::mouseClick(button(window->panel(Drawer::marks), "Waive protection"), Qt::LeftButton);
  EXPECT_TRUE(bench().file().waivers.empty());
  for (QLineEdit* edit : window->panel(Drawer::marks).findChildren<QLineEdit*>())
    if (edit->accessibleName() == "reason")
      edit->setText("a bead that is loose already");
    else if (edit->accessibleName() == "who answers")
      edit->setText("C. Example");
  QTest::mouseClick(button(window->panel(Drawer::marks), "Waive protection"), Qt::LeftButton);
  wait();
  ASSERT_EQ(bench().file().waivers.size(), 1u);
  EXPECT_EQ(bench().file().waivers[0].by, "C. Example");
}

TEST_F(RealWindow, TurningTheHeadRoundTurnsTheBodyInTheStrip) {
  open();
  window->open_drawer(Drawer::body);
  const Vec3 right_before = bench().body_views().from_front.right;
  QTest::mouseClick(button(window->panel(Drawer::body), "Head is at the other end"),
                    Qt::LeftButton);
  field<QLineEdit>(Drawer::body, 0)->setText("R. Example");
  QTest::mouseClick(button(window->panel(Drawer::body), "Confirm the sides"), Qt::LeftButton);
  wait();
  EXPECT_NEAR(bench().body_views().from_front.right.dot(right_before), -1, 1e-9);
  bench().undo();
  wait();
  EXPECT_NEAR(bench().body_views().from_front.right.dot(right_before), 1, 1e-9);
}

}  // namespace
}  // namespace leastharm

int main(int count, char** arguments) { return leastharm::test::run_window_tests(count, arguments); }
