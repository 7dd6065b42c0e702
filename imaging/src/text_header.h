#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "volume_image.h"

namespace leastharm {

[[noreturn]] void refuse_file(const std::filesystem::path& path, const std::string& why);

/// The first bytes of a file, enough for any text header. Throws BadInput where it is empty or cannot be read.
[[nodiscard]] std::string first_bytes(const std::filesystem::path& path);

/// Numbers anywhere in a text, whatever stands between them.
[[nodiscard]] std::vector<double> numbers_in(const std::string& text);
[[nodiscard]] std::string lower_case(std::string text);
[[nodiscard]] std::string trimmed_text(const std::string& text);

/// A value type by one of its names; throws BadInput for an unknown one.
[[nodiscard]] ValueType value_type(const std::filesystem::path& path, const std::map<std::string, ValueType>& names,
                                   const std::string& name);

/// The single file that a header without voxels of its own names, beside it. Throws BadInput where there is none.
[[nodiscard]] std::filesystem::path data_file_beside(const std::filesystem::path& path, const std::string& name);

/// Throws BadInput unless `values` has three whole numbers from 1 to 65535.
[[nodiscard]] std::array<long, 3> three_sizes(const std::filesystem::path& path, const std::vector<double>& values);

}  // namespace leastharm
