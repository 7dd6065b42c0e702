#pragma once

#include <nlohmann/json.hpp>
#include <string>

namespace leastharm::test {

/// What is said of a core that was taken, as `record --taken` reads it; mg.
inline nlohmann::json taken(const std::string& sample, double net_mg) {
  return {{"outcome", "taken"},
          {"sample", sample},
          {"gross_mg", 1200 + net_mg},
          {"tare_mg", 1200},
          {"net_mg", net_mg},
          {"container", "glass vial 7"},
          {"custodian", "Invented keeper"},
          {"taken_at", "2026-03-04T09:30:00Z"},
          {"persons", {{{"name", "O. Example"}, {"role", "operator"}}}}};
}

}  // namespace leastharm::test
