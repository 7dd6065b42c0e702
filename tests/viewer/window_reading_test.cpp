// Reading aids, limits and needles, and what is dragged where, in the real window.
#include <QCheckBox>
#include <QDoubleSpinBox>
#include <fstream>

#include "planner/cylinder.h"
#include "support/file_bytes.h"
#include "support/real_window.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using WindowReading = test::RealWindow;
using testing::HasSubstr;

/// The pointer rests on a place of a picture.
void point_at(QWidget& view, const QPointF& at) {
  QMouseEvent move(QEvent::MouseMove, at, view.mapToGlobal(at.toPoint()), Qt::NoButton, Qt::NoButton, Qt::NoModifier);
  QApplication::sendEvent(&view, &move);
  QApplication::processEvents();
}

TEST_F(WindowReading, EntryAndTipAreDraggedInEveryPicture) {
  open();
  const auto moved = [&](QWidget& view, const QPointF& from, const QPointF& by) {
    const Track before = window->desk().shown_track();
    drag(view, from, from + by);
    wait();
    const Track after = window->desk().shown_track();
    return std::pair{(after.entry_lps_mm - before.entry_lps_mm).norm(), (after.tip_lps_mm - before.tip_lps_mm).norm()};
  };
  const auto [section_entry, section_entry_tip] = moved(window->section(), window->section().entry_at(), {0, 15});
  EXPECT_GT(section_entry, 0.5);
  EXPECT_EQ(section_entry_tip, 0);
  const auto [axial_tip_entry, axial_tip] = moved(window->axial(), window->axial().tip_at(), {8, 4});
  EXPECT_GT(axial_tip, 1);
  QTest::keyClick(window.get(), Qt::Key_E);  // seen along the needle both ends lie together
  const auto [strip_entry, strip_entry_tip] =
      moved(window->strip(), window->strip().screen_of(window->desk().shown_track().entry_lps_mm), {-12, 0});
  EXPECT_GT(strip_entry, 1);
  EXPECT_EQ(strip_entry_tip, 0);
  for (int n = 0; n < 3; ++n) QTest::keyClick(window.get(), Qt::Key_Z, Qt::ControlModifier);
  const Track before = bench().track();
  for (int n = 0; n < 3; ++n)
    QTest::keyClick(window.get(), Qt::Key_Z, Qt::ControlModifier | Qt::ShiftModifier);
  EXPECT_NE(bench().track().tip_lps_mm, before.tip_lps_mm) << "what was taken back goes forth again";
}

TEST_F(WindowReading, TheReadingLineSaysWhatLiesUnderThePointer) {
  open();
  const Vec3 tip = bench().track().tip_lps_mm;
  bench().make_mark({.name = "heart", .kind = MarkKind::keep_out, .at_lps_mm = tip + Vec3(0, 0, 1), .radius_mm = 5});
  wait();
  point_at(window->section(), window->section().screen_of(tip + Vec3(0, 0, 1)));
  for (const char* part : {"HU", "packing", "confidence", "LPS", "in heart"}) EXPECT_TRUE(shows(part)) << part;
  point_at(window->section(), QPointF(window->section().width() - 20, 10));
  EXPECT_FALSE(shows("in heart"));
}

TEST_F(WindowReading, NamesOfMarksThatLieTogetherKeepApart) {
  open();
  const Vec3 tip = bench().track().tip_lps_mm;
  for (int n = 0; n < 4; ++n) {
    bench().make_mark({.name = "find number " + std::to_string(n + 1),
                       .kind = MarkKind::keep_out,
                       .at_lps_mm = tip + Vec3(0.7 * n, 0, 0.4 * n),
                       .radius_mm = 3});
    wait();
  }
  window->desk().set_depth_line(path_length_mm(window->desk().shown_track()) - 1);
  wait();
  for (PlaneView* view : {static_cast<PlaneView*>(&window->section()), static_cast<PlaneView*>(&window->across()),
                          static_cast<PlaneView*>(&window->axial())}) {
    view->grab();
    const std::vector<QRectF>& places = view->named_places();
    EXPECT_GE(places.size(), 6u) << view->metaObject()->className() << view->width() << "x" << view->height() << ": the picture's name and letters, and one mark's name at least";
    for (std::size_t a = 0; a < places.size(); ++a)
      for (std::size_t b = a + 1; b < places.size(); ++b)
        EXPECT_FALSE(places[a].intersects(places[b])) << a << " and " << b;
  }
}

TEST_F(WindowReading, TheRulerMeasuresInMillimetres) {
  open();
  QTest::keyClick(window.get(), Qt::Key_U);
  ASSERT_EQ(window->desk().tool, Tool::ruler);
  const QImage before = window->section().grab().toImage();
  const Track track = bench().track();
  drag(window->section(), QPointF(400, 60), QPointF(500, 60));
  wait();
  EXPECT_NE(window->section().grab().toImage(), before) << "a line with its length";
  EXPECT_EQ(bench().track().tip_lps_mm, track.tip_lps_mm) << "measuring moves nothing";
  QTest::keyClick(window.get(), Qt::Key_Escape);
  EXPECT_EQ(window->desk().tool, Tool::needle);
}

TEST_F(WindowReading, GreyLevelsAndOverlaysAreSetAndKeptAtOnce) {
  open();
  const auto named = [&](const char* name) {
    for (QDoubleSpinBox* field : window->findChildren<QDoubleSpinBox*>())
      if (field->accessibleName() == name) return field;
    return static_cast<QDoubleSpinBox*>(nullptr);
  };
  const QImage before = window->section().grab().toImage();
  named("HU shown black")->setValue(-200);
  named("HU shown white")->setValue(100);
  QTest::keyClick(window.get(), Qt::Key_H);
  QTest::keyClick(window.get(), Qt::Key_C);
  wait();
  EXPECT_NE(window->section().grab().toImage(), before);
  // Without closing: a kill would keep it too.
  QElapsedTimer timer;
  timer.start();
  std::string kept;
  while (timer.elapsed() < 60'000 && kept.find("\"white_hu\": 100") == std::string::npos) {
    QTest::qWait(20);
    if (fs::exists(made.root() / kViewFile)) kept = test::read_bytes(made.root() / kViewFile);
  }
  EXPECT_THAT(kept, HasSubstr("\"black_hu\": -200"));
  EXPECT_THAT(kept, HasSubstr("\"white_hu\": 100"));
  // Black must stay below white: such an interval is not taken.
  named("HU shown black")->setValue(400);
  EXPECT_EQ(bench().view().grey.black_hu, -200);
}

TEST_F(WindowReading, LimitsAndNeedlesAreEditedInTheSearchDrawer) {
  open();
  window->open_drawer(Drawer::search);
  QWidget& panel = window->panel(Drawer::search);
  const RequestFile before = *bench().file().request;
  auto* clearance = panel.findChild<QDoubleSpinBox*>("limit clearance");
  ASSERT_FALSE(clearance->isVisible());
  QTest::mouseClick(button(panel, "Limits"), Qt::LeftButton);
  ASSERT_TRUE(clearance->isVisible());
  clearance->setValue(12);
  wait();
  RequestFile expected = before;
  expected.limits.clearance_mm = 12;
  EXPECT_EQ(to_json(*bench().file().request), to_json(expected)) << "no other value changes, not even by rounding";
  EXPECT_EQ(bench().request().limits.clearance_mm, 12) << "the figures follow";

  QTest::mouseClick(button(panel, "Needles"), Qt::LeftButton);
  EXPECT_FALSE(clearance->isVisible()) << "one fold at a time";
  const auto boxes = panel.findChildren<QCheckBox*>("needle");
  ASSERT_GE(boxes.size(), 3);
  int chosen = 0;
  for (QCheckBox* box : boxes) chosen += box->isChecked();
  EXPECT_EQ(chosen, static_cast<int>(before.needles.size()));
  QCheckBox* other = *std::ranges::find(boxes, false, &QCheckBox::isChecked);
  QTest::mouseClick(other, Qt::LeftButton, Qt::NoModifier, QPoint(5, other->height() / 2));
  wait();
  EXPECT_EQ(bench().file().request->needles.size(), before.needles.size() + 1);
  for (QCheckBox* box : boxes)
    if (box->isChecked()) QTest::mouseClick(box, Qt::LeftButton, Qt::NoModifier, QPoint(5, box->height() / 2));
  wait();
  EXPECT_EQ(bench().file().request->needles.size(), 1u) << "the last one stays in the case";
  EXPECT_TRUE(shows("Choose at least one needle."));
}

TEST_F(WindowReading, ANeedleOfOnesOwnIsGivenToTheSearch) {
  open();
  window->open_drawer(Drawer::search);
  QWidget& panel = window->panel(Drawer::search);
  QTest::mouseClick(button(panel, "Needles"), Qt::LeftButton);
  const auto measure = [&](const char* name) { return panel.findChild<QDoubleSpinBox*>(QString("own ") + name); };
  auto* name = panel.findChild<QLineEdit*>("own name");
  const auto add = [&] { QTest::mouseClick(button(panel, "Add the needle"), Qt::LeftButton), wait(); };
  QTest::keyClicks(name, "museum trocar");
  measure("outer")->setValue(3.2);
  measure("bore")->setValue(3.2);
  add();
  EXPECT_TRUE(shows("The bore (3.20 mm) must be narrower than the outer diameter (3.20 mm)."));
  EXPECT_EQ(bench().file().request->needles.size(), 1u) << "nonsense is not taken";
  measure("bore")->setValue(2.7);
  measure("throw")->setValue(150);
  measure("usable")->setValue(120);
  add();
  EXPECT_TRUE(shows("must not be longer than the usable length (120.0 mm)"));
  measure("throw")->setValue(25);
  measure("dead tip")->setValue(4);
  measure("out, 5 %")->setValue(80);
  measure("out, 95 %")->setValue(60);
  add();
  EXPECT_TRUE(shows("the 5 % point must not be above the 95 % point"));
  measure("out, 5 %")->setValue(40);
  name->clear();
  QTest::keyClicks(name, needle_catalogue().front().name.c_str());
  add();
  EXPECT_TRUE(shows("give this one another name"));
  name->clear();
  QTest::keyClicks(name, "museum trocar");
  add();
  ASSERT_EQ(bench().file().request->needles.size(), 2u);
  const Needle& own = bench().file().request->needles[1];
  EXPECT_EQ(own.name, "museum trocar");
  EXPECT_EQ(own.outer_mm, 3.2);
  EXPECT_EQ(own.bore_mm, 2.7);
  EXPECT_EQ(own.throw_mm, 25);
  EXPECT_EQ(own.usable_mm, 120);
  EXPECT_EQ(own.dead_tip_mm, 4);
  EXPECT_EQ(own.recovery_p05, 0.4);
  EXPECT_NO_THROW(static_cast<void>(parse_request_file(to_json(*bench().file().request)))) << "and is read back";
  bench().undo();
  wait();
  EXPECT_EQ(bench().file().request->needles.size(), 1u);
}

TEST_F(WindowReading, AnotherNeedleChangesTheFigures) {
  open();
  window->open_drawer(Drawer::needle);
  const double mass = bench().figures_of(0)->assessment.core.mass_mg;
  auto* needles = field<QComboBox>(Drawer::needle, 0);
  int other = 0;
  while (needle_catalogue()[static_cast<std::size_t>(other)].bore_mm <= bench().track().needle.bore_mm) ++other;
  const QString name = QString::fromStdString(needle_catalogue()[static_cast<std::size_t>(other)].name);
  needles->setCurrentIndex(needles->findText(name));
  emit needles->activated(needles->currentIndex());
  wait();
  EXPECT_EQ(bench().track().needle.name, name.toStdString());
  EXPECT_GT(bench().figures_of(0)->assessment.core.mass_mg, mass) << "a wider bore takes more";
  EXPECT_THAT(bench().undo_text(), HasSubstr("needle of"));
}

TEST_F(WindowReading, DecliningAndConditionsAreStatedAndStand) {
  open();
  window->open_drawer(Drawer::approve);
  const auto fill = [&](const char* name, const char* text) {
    for (QLineEdit* edit : window->panel(Drawer::approve).findChildren<QLineEdit*>())
      if (edit->accessibleName() == name) edit->setText(text);
  };
  fill("name", "C. Example");
  fill("condition", "not before the feet are stable");
  QTest::mouseClick(button(window->panel(Drawer::approve), "Approve"), Qt::LeftButton);
  wait();
  EXPECT_TRUE(shows("not before the feet are stable"));
  fill("condition", "");
  QTest::mouseClick(button(window->panel(Drawer::approve), "Decline"), Qt::LeftButton);
  wait();
  ASSERT_EQ(bench().file().approvals.size(), 2u);
  EXPECT_EQ(bench().file().approvals[1].decision, "declined");
  EXPECT_TRUE(shows("declined by C. Example")) << "in the head of the window";
  QTest::keyClick(window.get(), Qt::Key_Z, Qt::ControlModifier);
  EXPECT_EQ(bench().file().approvals.size(), 2u) << "no step back takes a statement away";
}

TEST_F(WindowReading, ReopeningFromTheRecentCasesShowsTheSameView) {
  open();
  QTest::keyClick(window.get(), Qt::Key_2);
  window->desk().set_depth_line(31);
  wait();
  QTest::mouseClick(button(*window, "Close case"), Qt::LeftButton);
  auto* recent = window->findChildren<QListWidget*>().front();
  ASSERT_TRUE(recent->isVisible());
  EXPECT_THAT(recent->item(0)->data(Qt::UserRole).toString().toStdString(), HasSubstr(made.root().filename().string()));
  emit recent->itemActivated(recent->item(0));
  wait();
  ASSERT_EQ(bench().stage(), Stage::ready);
  EXPECT_EQ(bench().track().id, "T2");
  EXPECT_EQ(bench().view().depth_mm, 31);
}

}  // namespace
}  // namespace leastharm

int main(int count, char** arguments) { return leastharm::test::run_window_tests(count, arguments); }
