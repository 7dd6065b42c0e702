#include "imaging/whole_file.h"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <string>
#include <system_error>

#include "imaging/error.h"

namespace leastharm {
namespace {

[[noreturn]] void cannot_write(const std::filesystem::path& path, const std::string& why) {
  throw BadInput("cannot write " + path.string() + ": " + why + "; nothing was changed");
}

void flush_to_disk(const std::filesystem::path& path) {
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (file < 0 || ::fsync(file) != 0) {
    const int error = errno;
    if (file >= 0) ::close(file);
    cannot_write(path, std::strerror(error));
  }
  ::close(file);
}

}  // namespace

void write_whole(const std::filesystem::path& path,
                 const std::function<void(const std::filesystem::path&)>& write) {
  // The ending stays last: writers choose the format by it.
  const std::filesystem::path beside =
      path.parent_path() / (".part-" + std::to_string(::getpid()) + "-" + path.filename().string());
  std::error_code error;
  try {
    write(beside);
    flush_to_disk(beside);
    std::filesystem::rename(beside, path);
    const auto folder = path.parent_path().empty() ? std::filesystem::path(".") : path.parent_path();
    flush_to_disk(folder);
  } catch (const std::filesystem::filesystem_error& failure) {
    std::filesystem::remove(beside, error);
    cannot_write(path, failure.code().message());
  } catch (...) {
    std::filesystem::remove(beside, error);
    throw;
  }
}

void write_whole(const std::filesystem::path& path, std::string_view bytes) {
  write_whole(path, [&](const std::filesystem::path& beside) {
    std::ofstream stream(beside, std::ios::binary);
    stream.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    stream.close();
    if (!stream) cannot_write(path, std::strerror(errno));
  });
}

}  // namespace leastharm
