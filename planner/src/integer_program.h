#pragma once

#include <cstddef>
#include <vector>

namespace leastharm {

/// Least cost over 0/1 variables under linear constraints.
struct IntegerProgram {
  struct Term {
    std::size_t variable;
    double factor;
  };
  struct Row {
    std::vector<Term> terms;
    double low, high;
  };
  std::vector<double> cost;   ///< one a variable
  std::vector<Row> rows;
};

struct IntegerSolution {
  bool feasible = false;       ///< a solution was found
  bool proven = false;         ///< ... and is the best; or there is proven to be none
  double cost = 0, bound = 0;  ///< no solution costs less than `bound`
  std::vector<char> chosen;    ///< one a variable
};

/// Solves by CBC, quietly, up to `most_nodes` nodes: the same answer on every run.
[[nodiscard]] IntegerSolution solve(const IntegerProgram& program, int most_nodes = 5000);

}  // namespace leastharm
