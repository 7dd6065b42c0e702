#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <string>

#include "support/window_case.h"
#include "window/aim.h"
#include "window/workbench.h"

namespace leastharm::test {

/// A bench over a case of its own.
class OpenBench : public testing::Test {
 protected:
  void open(const std::filesystem::path& root) {
    bench.open(root);
    ASSERT_TRUE(loop.run_until(
        [&] { return bench.stage() == Stage::ready || bench.stage() == Stage::refused; }));
  }
  void settle() {
    ASSERT_TRUE(loop.run_until([&] {
      return bench.idle() && (bench.stage() != Stage::ready || bench.figures_are_whole());
    }));
  }
  [[nodiscard]] std::string plan() const { return to_json(bench.file()).at("plan").dump(); }
  [[nodiscard]] static Vec3 nudge(int n) { return {0.3 * n, 0.1 * n, -0.2 * n}; }

  WindowCase made{testing::UnitTest::GetInstance()->current_test_info()->name()};
  Loop loop;
  Workbench bench{loop.post()};
};

}  // namespace leastharm::test
