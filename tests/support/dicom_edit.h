#pragma once

#include <cstdint>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include "support/file_bytes.h"

namespace leastharm::test {

/// Bytes of one explicit little-endian element with a 16-bit length (PS3.5, 7.1.2), padded to an even length.
inline std::string element(std::uint16_t group, std::uint16_t number, const std::string& vr, std::string value) {
  if (value.size() % 2 != 0) value += vr == "UI" ? '\0' : ' ';
  std::string bytes;
  const auto word = [&](std::size_t w) {
    bytes += static_cast<char>(w & 0xff);
    bytes += static_cast<char>(w >> 8 & 0xff);
  };
  word(group);
  word(number);
  bytes += vr;
  word(value.size());
  return bytes + value;
}

inline std::string word_value(std::uint16_t value) {
  return {static_cast<char>(value & 0xff), static_cast<char>(value >> 8)};
}

/// Where an element of a small explicit little-endian file starts; npos where there is none.
inline std::size_t find_element(const std::string& bytes, std::uint16_t group, std::uint16_t number) {
  const std::string tag = word_value(group) + word_value(number);
  for (std::size_t at = bytes.find(tag, 132); at != std::string::npos; at = bytes.find(tag, at + 1))
    if (at + 6 < bytes.size() && bytes[at + 4] >= 'A' && bytes[at + 4] <= 'Z') return at;
  return std::string::npos;
}

/// Replaces (or takes away, with an empty `with`) an element of an explicit little-endian file.
inline void replace_element(const std::filesystem::path& file, std::uint16_t group, std::uint16_t number,
                            const std::string& with) {
  std::string bytes = read_bytes(file);
  const std::size_t at = find_element(bytes, group, number);
  if (at == std::string::npos) throw std::runtime_error("no such element in " + file.string());
  const std::size_t length = static_cast<unsigned char>(bytes[at + 6]) |
                             static_cast<std::size_t>(static_cast<unsigned char>(bytes[at + 7])) << 8;
  write_bytes(file, bytes.replace(at, 8 + length, with));
}

inline void set_text(const std::filesystem::path& file, std::uint16_t group, std::uint16_t number,
                     const std::string& vr, const std::string& value) {
  replace_element(file, group, number, element(group, number, vr, value));
}

/// Makes a CT slice say that it is of another storage class and modality.
inline void set_kind(const std::filesystem::path& file, const std::string& sop_class, const std::string& modality) {
  set_text(file, 0x0008, 0x0016, "UI", sop_class);
  set_text(file, 0x0008, 0x0060, "CS", modality);
}

/// A DICOMDIR (PS3.3, Annex F) with one image record a file; `files` are file IDs such as "A\\IM1".
inline void write_dicomdir(const std::filesystem::path& path, const std::vector<std::string>& files) {
  const auto item = [](std::uint16_t number, std::uint32_t length) {
    return word_value(0xfffe) + word_value(number) + word_value(static_cast<std::uint16_t>(length)) +
           word_value(static_cast<std::uint16_t>(length >> 16));
  };
  std::string bytes(128, '\0');
  bytes += "DICM" + element(0x0002, 0x0002, "UI", "1.2.840.10008.1.3.10") +
           element(0x0002, 0x0010, "UI", "1.2.840.10008.1.2.1");
  bytes += word_value(0x0004) + word_value(0x1220) + std::string("SQ\0\0\xff\xff\xff\xff", 8);
  for (const std::string& file : files)
    bytes += item(0xe000, 0xffffffff) + element(0x0004, 0x1430, "CS", "IMAGE") +
             element(0x0004, 0x1500, "CS", file) + item(0xe00d, 0);
  write_bytes(path, bytes + item(0xe0dd, 0));
}

}  // namespace leastharm::test
