// What a person can do where no case is open: read a CT, make the demo, open or mend a case.
#include <QCoreApplication>
#include <QDir>
#include <QFileDialog>
#include <QStackedWidget>
#include <algorithm>
#include <sstream>
#include <streambuf>

#include "imaging/error.h"
#include "window/main_window.h"
#include "words.h"

namespace leastharm {

namespace fs = std::filesystem;

namespace {

/// Hands on every line as it is written.
class LineStream : public std::streambuf {
 public:
  explicit LineStream(std::function<void(const std::string&)> take) : take_(std::move(take)) {}
  ~LineStream() override {
    if (!line_.empty()) take_(line_);
  }

 protected:
  int overflow(int c) override {
    if (c == '\n' || c == '\r') {
      if (!line_.empty()) take_(line_);
      line_.clear();
    } else if (c != EOF) {
      line_ += static_cast<char>(c);
    }
    return c;
  }

 private:
  std::function<void(const std::string&)> take_;
  std::string line_;
};

/// "NAME-case" beside the CT, or "NAME-case-2", ... where there is one already.
fs::path free_case_folder(const fs::path& ct) {
  const fs::path base = ct.parent_path() / (ct.stem().string() + "-case");
  for (int n = 1;; ++n)
    if (const fs::path root = n == 1 ? base : fs::path(base.string() + "-" + std::to_string(n));
        !fs::exists(root))
      return root;
}

}  // namespace

Errands MainWindow::errands() {
  Errands e;
  e.open_case = [this](const fs::path& root) { open(root); };
  e.choose_case = [this] { choose_case(); };
  e.choose_ct = [this] { choose_ct(); };
  if (options_.run_command) {
    e.read_ct = [this](const fs::path& path) { read_ct(path); };
    e.make_demo = [this] { make_demo(); };
  }
  return e;
}

void MainWindow::choose_case() {
  const QString path = QFileDialog::getExistingDirectory(this, word("page.openfolder"));
  if (!path.isEmpty()) open(path.toStdString());
}

void MainWindow::choose_ct() {
  const QString path = QFileDialog::getExistingDirectory(this, word("page.ctfolder"));
  if (!path.isEmpty()) read_ct(path.toStdString());
}

void MainWindow::read_ct(const fs::path& path) {
  const int errand = ++errand_;
  errand_runs_ = true;
  errand_lines_ = {say("page.look", path.string())};
  reading_page_->show_lines(word("page.readingct"), errand_lines_, true);
  pages_->setCurrentWidget(reading_page_);
  errand_jobs_.add([this, errand, path] {
    Inspection found;
    std::string fault;
    const auto show = [&](const InspectionSoFar& so_far) {
      QMetaObject::invokeMethod(
          this,
          [this, errand, lines = inspection_lines(so_far)] {
            if (errand != errand_) return;
            errand_lines_.resize(1);
            errand_lines_.insert(errand_lines_.end(), lines.begin(), lines.end());
            reading_page_->show_lines(word("page.readingct"), errand_lines_, true);
          },
          Qt::QueuedConnection);
    };
    try {
      found = inspect(path, show);
    } catch (const std::exception& e) {
      fault = e.what();
    }
    QMetaObject::invokeMethod(
        this,
        [this, errand, path, found, fault] {
          if (errand != errand_) return;
          errand_runs_ = false;
          std::vector<std::pair<QString, std::function<void()>>> ways;
          errand_lines_.resize(1);
          if (!fault.empty())
            errand_lines_.push_back(fault);
          else
            for (const std::string& line : inspection_lines(found)) errand_lines_.push_back(line);
          const bool single = std::ranges::count(found.series, true, &Series::usable) == 1;
          for (std::size_t n = 0; n < found.series.size(); ++n)
            if (const Series& s = found.series[n]; s.usable)
              ways.emplace_back(single ? word("page.begin")
                                       : q(say("page.beginone", std::to_string(n + 1), counted(s.slices, "slice"))),
                                [this, path, uid = s.uid] { begin_case(path, uid); });
          if (!ways.empty())
            errand_lines_.push_back(say("page.beginwhere", free_case_folder(path).string()));
          reading_page_->show_lines(ways.empty() ? word("page.nottaken") : word("page.readingct"),
                                    errand_lines_, false);
          ways.emplace_back(word("page.back"), [this] { bench_.close(); });
          reading_page_->show_ways(ways);
        },
        Qt::QueuedConnection);
  });
}

void MainWindow::begin_case(const fs::path& ct, const std::string& series) {
  const fs::path root = free_case_folder(ct);
  errand_lines_.push_back(say("page.segmenting"));
  run_and_open(word("page.readingct"),
               {"segment", ct.string(), "--case", root.string(), "--series", series, "--object",
                ct.stem().string()},
               root);
}

void MainWindow::make_demo() {
  const fs::path folder = fs::path(QDir::homePath().toStdString()) / "leastharm-demo";
  errand_lines_.clear();
  run_and_open(word("page.demo"), {"demo", "--output", folder.string()}, folder / "case");
}

void MainWindow::run_and_open(const QString& title, const std::vector<std::string>& arguments,
                              const fs::path& case_root) {
  const int errand = ++errand_;
  errand_runs_ = true;
  reading_page_->show_lines(title, errand_lines_, true);
  pages_->setCurrentWidget(reading_page_);
  errand_jobs_.add([this, errand, title, arguments, case_root] {
    const auto line = [&](const std::string& text) {
      QMetaObject::invokeMethod(
          this,
          [this, errand, title, text] {
            if (errand != errand_) return;
            errand_lines_.push_back(text);
            reading_page_->show_lines(title, errand_lines_, true);
          },
          Qt::QueuedConnection);
    };
    int status = 0;
    {
      LineStream out_lines(line), err_lines(line);
      std::ostream out(&out_lines), err(&err_lines);
      status = options_.run_command(arguments, out, err);
    }
    QMetaObject::invokeMethod(
        this,
        [this, errand, status, case_root] {
          if (errand != errand_) return;
          errand_runs_ = false;
          if (status == 0) return open(case_root);
          reading_page_->show_lines(word("page.nottaken"), errand_lines_, false);
          reading_page_->show_ways({{word("page.back"), [this] { bench_.close(); }}});
        },
        Qt::QueuedConnection);
  });
}

void MainWindow::show_refusal() {
  std::vector<std::pair<QString, std::function<void()>>> ways;
  if (bench_.refusal() == Refusal::missing_ct)
    ways.emplace_back(word("page.findct"), [this] {
      const QString path = QFileDialog::getExistingDirectory(this, word("page.ctfolder"));
      if (!path.isEmpty()) bench_.find_ct(path.toStdString());
    });
  if (bench_.refusal() == Refusal::damaged)
    ways.emplace_back(word("page.restore"), [this] { bench_.restore_from_history(); });
  ways.emplace_back(word("page.again"), [this] { open(fs::path(bench_.root())); });
  ways.emplace_back(word("page.back"), [this] { bench_.close(); });
  reading_page_->show_lines(word("page.refused"), {bench_.root().string(), bench_.refusal_text()},
                            false);
  reading_page_->show_ways(ways);
  pages_->setCurrentWidget(reading_page_);
}

}  // namespace leastharm
