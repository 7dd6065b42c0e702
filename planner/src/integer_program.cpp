#include "integer_program.h"

#include <coin/Cbc_C_Interface.h>

#include <memory>
#include <string>

namespace leastharm {

IntegerSolution solve(const IntegerProgram& program, int most_nodes) {
  const auto columns = static_cast<int>(program.cost.size()), rows = static_cast<int>(program.rows.size());
  std::vector<std::vector<std::pair<int, double>>> by_column(program.cost.size());
  std::vector<double> row_low, row_high;
  for (int r = 0; r < rows; ++r) {
    const IntegerProgram::Row& row = program.rows[static_cast<std::size_t>(r)];
    for (const IntegerProgram::Term& term : row.terms) by_column[term.variable].emplace_back(r, term.factor);
    row_low.push_back(row.low);
    row_high.push_back(row.high);
  }
  std::vector<CoinBigIndex> start{0};
  std::vector<int> index;
  std::vector<double> value;
  for (const auto& column : by_column) {
    for (const auto& [row, factor] : column) index.push_back(row), value.push_back(factor);
    start.push_back(static_cast<CoinBigIndex>(index.size()));
  }
  const std::vector<double> low(program.cost.size(), 0.0), high(program.cost.size(), 1.0);

  const std::unique_ptr<Cbc_Model, decltype(&Cbc_deleteModel)> model(Cbc_newModel(), &Cbc_deleteModel);
  Cbc_setLogLevel(model.get(), 0);
  Cbc_setParameter(model.get(), "log", "0");
  Cbc_setParameter(model.get(), "slog", "0");
  Cbc_loadProblem(model.get(), columns, rows, start.data(), index.data(), value.data(), low.data(), high.data(),
                  program.cost.data(), row_low.data(), row_high.data());
  for (int c = 0; c < columns; ++c) Cbc_setInteger(model.get(), c);
  Cbc_setParameter(model.get(), "maxNodes", std::to_string(most_nodes).c_str());
  Cbc_solve(model.get());

  IntegerSolution solution;
  const double* values = Cbc_getColSolution(model.get());
  solution.feasible = !Cbc_isProvenInfeasible(model.get()) && Cbc_numberSavedSolutions(model.get()) > 0 && values != nullptr;
  solution.proven = Cbc_isProvenOptimal(model.get()) || Cbc_isProvenInfeasible(model.get());
  solution.bound = Cbc_getBestPossibleObjValue(model.get());
  if (!solution.feasible) return solution;
  for (int c = 0; c < columns; ++c) {
    solution.chosen.push_back(values[c] > 0.5 ? 1 : 0);
    if (values[c] > 0.5) solution.cost += program.cost[static_cast<std::size_t>(c)];
  }
  return solution;
}

}  // namespace leastharm
