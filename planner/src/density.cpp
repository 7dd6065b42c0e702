#include "planner/density.h"

#include <xraylib.h>

#include <array>
#include <cmath>
#include <sstream>
#include <string>

#include "imaging/error.h"
#include "planner/text.h"

namespace leastharm {

namespace {

/// What xraylib says of one formula; its error object never leaves here.
double checked(double value, xrl_error* error, const std::string& formula) {
  if (error == nullptr) return value;
  const std::string reason = error->message;
  xrl_error_free(error);
  throw BadInput("The composition \"" + formula + "\" cannot be read: " + reason + ".");
}

double element_attenuation(const std::string& symbol, double energy_kev) {
  xrl_error* error = nullptr;
  const int z = SymbolToAtomicNumber(symbol.c_str(), &error);
  checked(0, error, symbol);
  error = nullptr;
  const double attenuation = CS_Total(z, energy_kev, &error);
  return checked(attenuation, error, symbol);
}

/// "H 3.4, C 15.5, ...": mass fractions, in any unit.
double mixture_attenuation(const std::string& formula, double energy_kev) {
  std::istringstream parts(formula);
  double sum = 0, weights = 0;
  for (std::string part; std::getline(parts, part, ',');) {
    std::istringstream words(part);
    std::string symbol;
    double weight = 0;
    if (!(words >> symbol >> weight) || !(weight > 0))
      throw BadInput("The composition \"" + formula + "\" cannot be read at \"" + part + "\".");
    sum += weight * element_attenuation(symbol, energy_kev);
    weights += weight;
  }
  return sum / weights;
}

}  // namespace

double mass_attenuation_cm2_per_g(const char* formula, double energy_kev) {
  const std::string text = formula;
  if (text.find(',') != std::string::npos) return mixture_attenuation(text, energy_kev);
  xrl_error* error = nullptr;
  const double attenuation = CS_Total_CP(formula, energy_kev, &error);
  return checked(attenuation, error, text);
}

Composition composition_of(Material material) {
  switch (material) {
    case Material::air:
      return {"dry air", "N 75.53, O 23.18, Ar 1.28", 0};
    case Material::wrapping:
      return {"cellulose", "C6H10O5", 0.03};
    case Material::body:   // dried soft tissue
      return {"collagen", "C65H102N18O21", 0.03};
    case Material::packing:   // plant fibre, with the salt and resin it may have taken up
      return {"cellulose", "C6H10O5", 0.05};
    case Material::bone:   // ICRU-44 cortical bone; dry spongy bone holds less mineral
      return {"cortical bone (ICRU-44)",
              "H 3.4, C 15.5, N 4.2, O 43.5, Na 0.1, Mg 0.2, P 10.3, S 0.3, Ca 22.5", 0.1};
    case Material::resin:
      return {"conifer resin acid", "C20H30O2", 0.02};
    case Material::dense:   // quartz-like faience; metal lies beyond any density scale
      return {"quartz", "SiO2", 0.3};
    case Material::support:
      return {"cellulose", "C6H10O5", 0.05};
  }
  throw BadInput("An unknown material has no composition.");
}

Composition composition_of(Filling filling) {
  switch (filling) {
    case Filling::plant_fibre:
      return composition_of(Material::packing);
    case Filling::sand:   // lime and felspar beside it
      return {"quartz", "SiO2", 0.05};
    case Filling::mud:   // each percent of iron oxide adds 2 % (0 to 8 %: from memory)
      return {"kaolinite", "Al2Si2O9H4", 0.1};
    case Filling::natron:   // 54 % NaCl, 16 % Na2SO4, 18 % Na2CO3, 12 % NaHCO3 (Panzer et al. 2013); found ones vary
      return {"natron", "Na 37.51, Cl 32.76, S 3.61, C 3.76, O 22.22, H 0.14", 0.12};
    case Filling::not_stated:   // midway in R between fibre (0.94) and natron (1.27); wide enough for nine in ten of either
      return {"kaolinite, for anything from plant fibre to natron", "Al2Si2O9H4", 0.2};
  }
  throw BadInput("An unknown filling has no composition.");
}

DensityRange density_range_of(Filling filling) {
  switch (filling) {
    case Filling::not_stated: return {0, 2.65};
    case Filling::plant_fibre: return {0, 1.5};
    case Filling::sand: return {1.2, 2.65};
    case Filling::mud: return {0.7, 2.65};
    case Filling::natron: return {0.7, 2.3};
  }
  return {};
}

PerWeighed<Composition> compositions(Filling filling) {
  PerWeighed<Composition> all{};
  for (std::size_t m = 0; m < kMaterialCount; ++m) all[m] = composition_of(static_cast<Material>(m));
  all[kDensePacking] = composition_of(filling);
  if (filling != Filling::not_stated) all[static_cast<std::size_t>(Material::packing)] = all[kDensePacking];
  return all;
}

double density_g_per_cm3(double hu, const Composition& composition, double energy_kev) {
  return (1 + hu / 1000) / (mass_attenuation_cm2_per_g(composition.formula, energy_kev) / mass_attenuation_cm2_per_g("H2O", energy_kev));
}

double density_g_per_cm3(double hu, Material material, double energy_kev) {
  return density_g_per_cm3(hu, composition_of(material), energy_kev);
}

double effective_energy_kev(double tube_kvp) {
  if (!(tube_kvp >= 70 && tube_kvp <= 150))
    throw BadInput("The tube voltage is " + brief(tube_kvp) + " kV; allowed: from 70 to 150.");
  // Usual filtration; from memory, and only R at this energy hangs on it (cellulose: 0.1 % a keV).
  constexpr std::array<std::array<double, 2>, 6> kTable{
      {{70, 49}, {80, 53}, {100, 61}, {120, 68}, {140, 75}, {150, 78}}};
  std::size_t n = 1;
  while (n + 1 < kTable.size() && tube_kvp > kTable[n][0]) ++n;
  const double part = (tube_kvp - kTable[n - 1][0]) / (kTable[n][0] - kTable[n - 1][0]);
  return std::lerp(kTable[n - 1][1], kTable[n][1], part);
}

}  // namespace leastharm
