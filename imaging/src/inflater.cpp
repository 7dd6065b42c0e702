#include "inflater.h"

#include <new>

namespace leastharm {

Inflater::Inflater(Source source, Wrapping wrapping) : source_(std::move(source)), wrapping_(wrapping) {
  constexpr int kWindow = 15, kDetect = 32;
  if (inflateInit2(&stream_, wrapping == Wrapping::none ? -kWindow : kWindow + kDetect) != Z_OK)
    throw std::bad_alloc();
}

bool Inflater::refill() {
  if (stream_.avail_in > 0) return true;
  stream_.next_in = packed_.data();
  stream_.avail_in = static_cast<uInt>(source_(packed_.data(), packed_.size()));
  return stream_.avail_in > 0;
}

/// A gzip file may hold several members, one after the other (RFC 1952, 2.2).
bool Inflater::next_member() {
  if (wrapping_ == Wrapping::none || !refill() || stream_.next_in[0] != 0x1f) return false;
  return inflateReset(&stream_) == Z_OK;
}

std::size_t Inflater::read(void* to, std::size_t most) {
  stream_.next_out = static_cast<Bytef*>(to);
  stream_.avail_out = static_cast<uInt>(most);
  while (stream_.avail_out > 0 && !ended_) {
    const int status = refill() ? ::inflate(&stream_, Z_NO_FLUSH) : Z_DATA_ERROR;
    if (status == Z_STREAM_END) ended_ = !next_member();
    else if (status != Z_OK && status != Z_BUF_ERROR) ended_ = true;
  }
  return most - stream_.avail_out;
}

}  // namespace leastharm
