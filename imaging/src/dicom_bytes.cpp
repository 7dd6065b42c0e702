#include "dicom_bytes.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

namespace leastharm {
namespace {

constexpr std::size_t kWindow = 16384;      // holds the whole header of an ordinary CT slice
constexpr std::size_t kPiece = 65536;       // unpacked at a time
constexpr std::uint64_t kMostGrowth = 1032; // of a deflate stream (zlib's technical notes): nothing absurd is tried

}  // namespace

DicomBytes::DicomBytes(const std::filesystem::path& path)
    : file_(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)) {
  struct stat status {};
  if (file_ < 0 || ::fstat(file_, &status) != 0 || !S_ISREG(status.st_mode)) {
    const std::string why = file_ < 0 ? std::strerror(errno) : "no ordinary file";
    if (file_ >= 0) ::close(file_);
    throw Unreadable("cannot be opened (" + why + ")");
  }
  size_ = static_cast<std::uint64_t>(status.st_size);
}

DicomBytes::~DicomBytes() { ::close(file_); }

void DicomBytes::inflate_from(std::uint64_t at) {
  const auto source = [this, at](void* to, std::size_t most) mutable {
    const std::size_t got = read_some(at, most, to);
    at += got;
    return got;
  };
  inflater_ = std::make_unique<Inflater>(source, Inflater::Wrapping::none);
}

bool DicomBytes::reaches(std::uint64_t at, std::uint64_t count) {
  if (!inflater_) return count <= size_ && at <= size_ - count;
  if (count > size_ * kMostGrowth || at > size_ * kMostGrowth) return false;
  inflate_up_to(at + count);
  return unpacked_.size() >= at + count;
}

std::string_view DicomBytes::view(std::uint64_t at, std::size_t count) {
  if (!reaches(at, count)) throw Unreadable("is cut short");
  if (inflater_) return std::string_view(unpacked_).substr(at, count);
  if (at < window_at_ || at + count > window_at_ + window_.size()) load(at, count);
  return {window_.data() + (at - window_at_), count};
}

void DicomBytes::read(std::uint64_t at, std::size_t count, void* to) {
  if (!reaches(at, count)) throw Unreadable("is cut short");
  if (inflater_) std::memcpy(to, unpacked_.data() + at, count);
  else if (read_some(at, count, to) < count) throw Unreadable("cannot be read to its end");
}

std::size_t DicomBytes::read_some(std::uint64_t at, std::size_t most, void* to) const {
  std::size_t done = 0;
  while (done < most) {
    const ssize_t got = ::pread(file_, static_cast<char*>(to) + done, most - done, static_cast<off_t>(at + done));
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) throw Unreadable(std::string("cannot be read (") + std::strerror(errno) + ")");
    if (got == 0) break;
    done += static_cast<std::size_t>(got);
  }
  return done;
}

void DicomBytes::load(std::uint64_t at, std::size_t count) {
  window_.resize(static_cast<std::size_t>(std::min<std::uint64_t>(std::max(count, kWindow), size_ - at)));
  window_at_ = at;
  if (read_some(at, window_.size(), window_.data()) < window_.size()) throw Unreadable("changed while it was read");
}

void DicomBytes::inflate_up_to(std::uint64_t end) {
  while (unpacked_.size() < end) {
    const std::size_t before = unpacked_.size();
    unpacked_.resize(before + kPiece);
    const std::size_t got = inflater_->read(unpacked_.data() + before, kPiece);
    unpacked_.resize(before + got);
    if (got < kPiece) return;
  }
}

}  // namespace leastharm
