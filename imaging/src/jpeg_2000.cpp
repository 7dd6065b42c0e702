#include "jpeg_2000.h"

#include <openjpeg.h>

#include <algorithm>
#include <cstring>
#include <memory>

#include "dicom_bytes.h"

namespace leastharm {
namespace {

/// A codestream in memory, as OpenJPEG reads it.
struct Source {
  const std::string& bytes;
  std::size_t at = 0;
};

OPJ_SIZE_T read(void* to, OPJ_SIZE_T most, void* user) {
  auto& source = *static_cast<Source*>(user);
  const std::size_t count = std::min<std::size_t>(most, source.bytes.size() - source.at);
  if (count == 0) return static_cast<OPJ_SIZE_T>(-1);
  std::memcpy(to, source.bytes.data() + source.at, count);
  source.at += count;
  return count;
}

OPJ_BOOL seek(OPJ_OFF_T to, void* user) {
  auto& source = *static_cast<Source*>(user);
  if (to < 0 || static_cast<std::size_t>(to) > source.bytes.size()) return OPJ_FALSE;
  source.at = static_cast<std::size_t>(to);
  return OPJ_TRUE;
}

OPJ_OFF_T skip(OPJ_OFF_T count, void* user) {
  const auto at = static_cast<OPJ_OFF_T>(static_cast<Source*>(user)->at);
  return seek(at + count, user) ? count : -1;
}

using Codec = std::unique_ptr<opj_codec_t, decltype(&opj_destroy_codec)>;
using Stream = std::unique_ptr<opj_stream_t, decltype(&opj_stream_destroy)>;
using Image = std::unique_ptr<opj_image_t, decltype(&opj_image_destroy)>;

Stream stream_of(Source& source) {
  Stream stream(opj_stream_default_create(OPJ_TRUE), opj_stream_destroy);
  opj_stream_set_user_data(stream.get(), &source, nullptr);
  opj_stream_set_user_data_length(stream.get(), source.bytes.size());
  opj_stream_set_read_function(stream.get(), read);
  opj_stream_set_seek_function(stream.get(), seek);
  opj_stream_set_skip_function(stream.get(), skip);
  return stream;
}

/// Before any memory is asked for: the stream's own size must be the file's.
void check(const opj_image_t& image, int columns, int rows) {
  const bool same = image.numcomps == 1 && image.x1 - image.x0 == static_cast<OPJ_UINT32>(columns) &&
                    image.y1 - image.y0 == static_cast<OPJ_UINT32>(rows) && image.comps[0].prec <= 16 &&
                    image.comps[0].dx == 1 && image.comps[0].dy == 1;
  if (!same) throw Unreadable("has compressed pixels of another size than its header says");
}

}  // namespace

void decode_jpeg_2000(const std::string& stream, int columns, int rows, std::span<std::uint16_t> stored) {
  Source source{stream};
  const Stream input = stream_of(source);
  const Codec codec(opj_create_decompress(OPJ_CODEC_J2K), opj_destroy_codec);
  opj_dparameters_t parameters;
  opj_set_default_decoder_parameters(&parameters);
  opj_image_t* raw = nullptr;
  if (!opj_setup_decoder(codec.get(), &parameters) || !opj_read_header(input.get(), codec.get(), &raw))
    throw Unreadable("has damaged compressed pixels");
  const Image image(raw, opj_image_destroy);
  check(*image, columns, rows);
  if (!opj_decode(codec.get(), input.get(), image.get()) || !opj_end_decompress(codec.get(), input.get()))
    throw Unreadable("has damaged compressed pixels");
  check(*image, columns, rows);
  const opj_image_comp_t& samples = image->comps[0];
  if (!samples.data || static_cast<std::size_t>(samples.w) * samples.h != stored.size())
    throw Unreadable("has damaged compressed pixels");
  std::transform(samples.data, samples.data + stored.size(), stored.begin(),
                 [](OPJ_INT32 value) { return static_cast<std::uint16_t>(value); });
}

}  // namespace leastharm
