#include "planner/counter_random.h"

#include <cmath>
#include <numbers>

namespace leastharm {

namespace {

std::uint64_t mixed(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15ULL;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9ULL;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebULL;
  return x ^ (x >> 31);
}

template <std::size_t N>
double polynomial(const double (&c)[N], double x) {
  double value = c[N - 1];
  for (std::size_t n = N - 1; n-- > 0;) value = value * x + c[n];
  return value;
}

}  // namespace

std::uint64_t random_bits(std::uint64_t seed, std::uint64_t stream, std::uint64_t counter) {
  return mixed(mixed(mixed(seed) ^ stream) ^ counter);
}

double random_uniform(std::uint64_t seed, std::uint64_t stream, std::uint64_t counter) {
  return (static_cast<double>(random_bits(seed, stream, counter) >> 12) + 0.5) * 0x1p-52;
}

double random_normal(std::uint64_t seed, std::uint64_t stream, std::uint64_t counter) {
  return normal_quantile(random_uniform(seed, stream, counter));
}

std::uint64_t stream_named(std::string_view name) {
  std::uint64_t hash = 0xcbf29ce484222325ULL;
  for (const char c : name) hash = (hash ^ static_cast<unsigned char>(c)) * 0x100000001b3ULL;
  return hash;
}

double normal_cdf(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }

double normal_quantile(double p) {
  static constexpr double a[]{3.3871328727963666080e0, 1.3314166789178437745e2, 1.9715909503065514427e3,
                              1.3731693765509461125e4, 4.5921953931549871457e4, 6.7265770927008700853e4,
                              3.3430575583588128105e4, 2.5090809287301226727e3};
  static constexpr double b[]{1.0,                     4.2313330701600911252e1, 6.8718700749205790830e2,
                              5.3941960214247511077e3, 2.1213794301586595867e4, 3.9307895800092710610e4,
                              2.8729085735721942674e4, 5.2264952788528545610e3};
  static constexpr double c[]{1.42343711074968357734e0, 4.63033784615654529590e0, 5.76949722146069140550e0,
                              3.64784832476320460504e0, 1.27045825245236838258e0, 2.41780725177450611770e-1,
                              2.27238449892691845833e-2, 7.74545014278341407640e-4};
  static constexpr double d[]{1.0,                       2.05319162663775882187e0, 1.67638483018380384940e0,
                              6.89767334985100004550e-1, 1.48103976427480074590e-1, 1.51986665636164571966e-2,
                              5.47593808499534494600e-4, 1.05075007164441684324e-9};
  static constexpr double e[]{6.65790464350110377720e0, 5.46378491116411436990e0, 1.78482653991729133580e0,
                              2.96560571828504891230e-1, 2.65321895265761230930e-2, 1.24266094738807843860e-3,
                              2.71155556874348757815e-5, 2.01033439929228813265e-7};
  static constexpr double f[]{1.0,                       5.99832206555887937690e-1, 1.36929880922735805310e-1,
                              1.48753612908506148525e-2, 7.86869131145613259100e-4, 1.84631831751005468180e-5,
                              1.42151175831644588870e-7, 2.04426310338993978564e-15};
  const double q = p - 0.5;
  if (std::abs(q) <= 0.425) {
    const double r = 0.180625 - q * q;
    return q * polynomial(a, r) / polynomial(b, r);
  }
  const double r = std::sqrt(-std::log(q < 0 ? p : 1 - p));
  const double x = r <= 5 ? polynomial(c, r - 1.6) / polynomial(d, r - 1.6) : polynomial(e, r - 5) / polynomial(f, r - 5);
  return q < 0 ? -x : x;
}

}  // namespace leastharm
