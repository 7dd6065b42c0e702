#pragma once

#include <cstdio>
#include <filesystem>
#include <string>
#include <vector>

#include "support/dicom_edit.h"
#include "imaging/grid.h"

namespace leastharm::test {

/// One frame of a hand-made DICOM segmentation: where its first pixel lies, its segment, its pixels (0 or 1).
struct SegFrame {
  Vec3 first_pixel_lps_mm;
  std::uint16_t segment = 1;
  std::vector<int> pixels;
};

/// A DICOM segmentation, byte by byte (PS3.3, A.51): to read what another hand wrote.
struct SegBytes {
  int columns = 0, rows = 0;
  double column_spacing_mm = 1, row_spacing_mm = 1;
  Vec3 row{1, 0, 0}, column{0, 1, 0};
  std::vector<std::string> segments{"one"};   ///< labels, numbered from 1
  std::vector<SegFrame> frames;
  bool fractional = false;
  int most = 200;         ///< fractional: what a pixel of 1 is written as, and what a quarter of it is not

  [[nodiscard]] static std::string sequence(std::uint16_t group, std::uint16_t number, const std::vector<std::string>& items) {
    std::string bytes = word_value(group) + word_value(number) + std::string("SQ\0\0\xff\xff\xff\xff", 8);
    for (const std::string& item : items)
      bytes += std::string("\xfe\xff\x00\xe0\xff\xff\xff\xff", 8) + item + std::string("\xfe\xff\x0d\xe0\0\0\0\0", 8);
    return bytes + std::string("\xfe\xff\xdd\xe0\0\0\0\0", 8);
  }
  [[nodiscard]] static std::string numbers(const Vec3& v) {
    char text[64];
    std::snprintf(text, sizeof text, "%.9f\\%.9f\\%.9f", v.x(), v.y(), v.z());
    return text;
  }

  [[nodiscard]] std::string pixel_bytes() const {
    std::string bytes;
    std::size_t bit = 0;
    for (const SegFrame& frame : frames)
      for (const int pixel : frame.pixels) {
        if (fractional) {
          bytes += static_cast<char>(pixel ? most * 3 / 4 : most / 4);
        } else {
          if (bit % 8 == 0) bytes += '\0';
          bytes.back() = static_cast<char>(bytes.back() | pixel << bit++ % 8);
        }
      }
    return bytes + (bytes.size() % 2 ? std::string(1, '\0') : "");
  }

  void write(const std::filesystem::path& path) const {
    const auto us = [](std::uint16_t group, std::uint16_t number, int value) {
      return element(group, number, "US", word_value(static_cast<std::uint16_t>(value)));
    };
    std::vector<std::string> described, groups;
    for (std::size_t n = 0; n < segments.size(); ++n)
      described.push_back(us(0x0062, 0x0004, static_cast<int>(n) + 1) + element(0x0062, 0x0005, "LO", segments[n]));
    for (const SegFrame& f : frames)
      groups.push_back(sequence(0x0020, 0x9113, {element(0x0020, 0x0032, "DS", numbers(f.first_pixel_lps_mm))}) +
                       sequence(0x0062, 0x000a, {us(0x0062, 0x000b, f.segment)}));
    char spacing[64];
    std::snprintf(spacing, sizeof spacing, "%.9f\\%.9f", row_spacing_mm, column_spacing_mm);
    const int bits = fractional ? 8 : 1;
    const std::string pixels = pixel_bytes();
    std::string bytes(128, '\0');
    bytes += "DICM" + element(0x0002, 0x0010, "UI", "1.2.840.10008.1.2.1") +
             element(0x0008, 0x0016, "UI", "1.2.840.10008.5.1.4.1.1.66.4") + element(0x0008, 0x0060, "CS", "SEG") +
             us(0x0028, 0x0002, 1) + element(0x0028, 0x0008, "IS", std::to_string(frames.size())) +
             us(0x0028, 0x0010, rows) + us(0x0028, 0x0011, columns) + us(0x0028, 0x0100, bits) +
             us(0x0028, 0x0101, bits) + us(0x0028, 0x0102, bits - 1) + us(0x0028, 0x0103, 0) +
             element(0x0062, 0x0001, "CS", fractional ? "FRACTIONAL" : "BINARY") + sequence(0x0062, 0x0002, described) +
             us(0x0062, 0x000e, most) +
             sequence(0x5200, 0x9229,
                      {sequence(0x0028, 0x9110, {element(0x0028, 0x0030, "DS", spacing)}) +
                       sequence(0x0020, 0x9116,
                                {element(0x0020, 0x0037, "DS", numbers(row) + "\\" + numbers(column))})}) +
             sequence(0x5200, 0x9230, groups) + word_value(0x7fe0) + word_value(0x0010) + std::string("OB\0\0", 4) +
             word_value(static_cast<std::uint16_t>(pixels.size())) +
             word_value(static_cast<std::uint16_t>(pixels.size() >> 16)) + pixels;
    write_bytes(path, bytes);
  }
};

}  // namespace leastharm::test
