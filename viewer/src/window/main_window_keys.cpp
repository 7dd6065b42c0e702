// Everything that the keyboard does.
#include <QKeyEvent>
#include <QStackedWidget>

#include "window/aim.h"
#include "window/main_window.h"

namespace leastharm {

bool MainWindow::nudge(int key, Qt::KeyboardModifiers modifiers) {
  if (!desk_.ready() || !bench_.has_track()) return false;
  const double step = modifiers & Qt::ShiftModifier ? 5 : modifiers & Qt::ControlModifier ? 0.2 : 1;
  const bool turn = modifiers & Qt::AltModifier;
  const Body& body = bench_.ground().body;
  const SectionFrame frame = desk_.section();
  const Track track = desk_.shown_track();
  Vec3 by = Vec3::Zero(), axis = Vec3::Zero();
  switch (key) {
    case Qt::Key_Left:
      by = -frame.along;
      break;
    case Qt::Key_Right:
      by = frame.along;
      break;
    case Qt::Key_Up:
      by = frame.up, axis = frame.across();
      break;
    case Qt::Key_Down:
      by = -frame.up, axis = -frame.across();
      break;
    case Qt::Key_PageUp:
      by = frame.across(), axis = -frame.up;
      break;
    case Qt::Key_PageDown:
      by = -frame.across(), axis = frame.up;
      break;
    default:
      return false;
  }
  if (turn && axis.norm() > 0)
    bench_.move_track(turned(body, track, axis, step));
  else if (desk_.grip == Grip::entry)
    bench_.move_track(with_entry(body, track, track.entry_lps_mm + step * by));
  else if (desk_.grip == Grip::whole)
    bench_.move_track(shifted(body, track, step * by));
  else if (axis.norm() == 0)
    bench_.move_track(deepened(track, by.dot(frame.along) * step));
  else
    bench_.move_track(with_tip(track, track.tip_lps_mm + step * by));
  return true;
}

void MainWindow::toggle(bool ViewState::*what) {
  ViewState view = bench_.view();
  view.*what = !(view.*what);
  bench_.set_view(view);
}

bool MainWindow::press(int key, Qt::KeyboardModifiers modifiers) {
  const double line_step = modifiers & Qt::ShiftModifier ? 5 : 1;
  const auto drawer_by = [&](Drawer wanted) {
    open_drawer(drawer_ == wanted ? Drawer::none : wanted);
  };
  if (key == Qt::Key_K) return drawer_by(Drawer::keys), true;
  if (!desk_.ready()) return false;
  switch (key) {
    case Qt::Key_E:
      desk_.grip = Grip::entry;
      break;
    case Qt::Key_T:
      desk_.grip = Grip::tip;
      break;
    case Qt::Key_W:
      desk_.grip = Grip::whole;
      break;
    case Qt::Key_Comma:
    case Qt::Key_Less:
    case Qt::Key_Semicolon:
      desk_.set_depth_line(bench_.view().depth_mm - line_step);
      break;
    case Qt::Key_Period:
    case Qt::Key_Greater:
    case Qt::Key_Colon:
      desk_.set_depth_line(bench_.view().depth_mm + line_step);
      break;
    case Qt::Key_Home:
      desk_.step_slice(static_cast<int>(line_step));
      break;
    case Qt::Key_End:
      desk_.step_slice(-static_cast<int>(line_step));
      break;
    case Qt::Key_N:
      drawer_by(Drawer::needle);
      break;
    case Qt::Key_M:
      drawer_by(Drawer::marks);
      break;
    case Qt::Key_B:
      drawer_by(Drawer::body);
      break;
    case Qt::Key_S:
      drawer_by(Drawer::search);
      break;
    case Qt::Key_A:
      drawer_by(Drawer::approve);
      break;
    case Qt::Key_R:
      drawer_by(Drawer::solid);
      break;
    case Qt::Key_H:
      toggle(&ViewState::hatches);
      break;
    case Qt::Key_C:
      toggle(&ViewState::confidence);
      break;
    case Qt::Key_L:
      toggle(&ViewState::words);
      break;
    case Qt::Key_U:
      desk_.tool = desk_.tool == Tool::ruler ? Tool::needle : Tool::ruler;
      break;
    case Qt::Key_Escape:
      if (QWidget* held = focusWidget(); held != nullptr && held != section_ && drawers_->isAncestorOf(held))
        section_->setFocus();  // out of a field first, back to the needle
      else if (desk_.tool != Tool::needle)
        desk_.tool = Tool::needle;
      else
        open_drawer(Drawer::none);
      break;
    default:
      if (key < Qt::Key_1 || key > Qt::Key_9) return false;
      bench_.take_in_hand(static_cast<std::size_t>(key - Qt::Key_1));
  }
  if (drawer_ != Drawer::none) panel(drawer_).refresh(0);
  reading_->refresh();
  repaint_pictures();
  return true;
}

bool MainWindow::press_with_control(int key) {
  switch (key) {
    case Qt::Key_Plus:
    case Qt::Key_Equal:
      set_look(look_.scale * 1.1, look_.high_contrast);
      return true;
    case Qt::Key_Minus:
      set_look(look_.scale / 1.1, look_.high_contrast);
      return true;
    case Qt::Key_0:
      set_look(1, look_.high_contrast);
      return true;
    case Qt::Key_H:
      set_look(look_.scale, !look_.high_contrast);
      return true;
    default:
      return false;
  }
}

void MainWindow::keyPressEvent(QKeyEvent* event) {
  if (event->matches(QKeySequence::Undo)) return bench_.undo();
  if (event->matches(QKeySequence::Redo)) return bench_.redo();
  if ((event->modifiers() & Qt::ControlModifier) && press_with_control(event->key())) return;
  if (nudge(event->key(), event->modifiers())) return;
  if (!(event->modifiers() & (Qt::ControlModifier | Qt::AltModifier)) &&
      press(event->key(), event->modifiers()))
    return;
  QMainWindow::keyPressEvent(event);
}

}  // namespace leastharm
