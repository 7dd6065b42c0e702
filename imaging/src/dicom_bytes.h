#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "inflater.h"

namespace leastharm {

/// A DICOM file that cannot be read further. Says why in a few words; who catches it knows the file.
class Unreadable : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// The bytes of a file, read where they are asked for and never more than the file holds.
class DicomBytes {
 public:
  /// Throws Unreadable where the file cannot be opened.
  explicit DicomBytes(const std::filesystem::path& path);
  ~DicomBytes();
  DicomBytes(const DicomBytes&) = delete;
  DicomBytes& operator=(const DicomBytes&) = delete;

  /// From here on, offsets count in the unpacked stream (PS3.5 A.5) that starts at `at`.
  void inflate_from(std::uint64_t at);

  /// Whether `at + count` lies within the file.
  [[nodiscard]] bool reaches(std::uint64_t at, std::uint64_t count);
  /// A look at `count` bytes; good until the next call. Throws Unreadable where the file ends before.
  [[nodiscard]] std::string_view view(std::uint64_t at, std::size_t count);
  /// Copies `count` bytes without keeping them. Throws Unreadable where the file ends before.
  void read(std::uint64_t at, std::size_t count, void* to);

 private:
  std::size_t read_some(std::uint64_t at, std::size_t most, void* to) const;
  void load(std::uint64_t at, std::size_t count);
  void inflate_up_to(std::uint64_t end);

  int file_ = -1;
  std::uint64_t size_ = 0;
  std::vector<char> window_;
  std::uint64_t window_at_ = 0;
  std::string unpacked_;
  std::unique_ptr<Inflater> inflater_;
};

}  // namespace leastharm
