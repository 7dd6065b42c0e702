#pragma once

#include <array>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <regex>
#include <string>
#include <vector>

/// Reads PDFs by poppler's command line tools: an outside judge of what we print.
namespace leastharm::poppler {

[[nodiscard]] inline bool is_installed() {
  return std::system("command -v pdftotext pdffonts pdftoppm pdfinfo >/dev/null 2>&1") == 0;
}

[[nodiscard]] inline std::string output_of(const std::string& command) {
  std::string text;
  std::array<char, 4096> part{};
  FILE* pipe = popen((command + " 2>&1").c_str(), "r");
  if (!pipe) return text;
  while (const std::size_t count = std::fread(part.data(), 1, part.size(), pipe))
    text.append(part.data(), count);
  pclose(pipe);
  return text;
}

/// The text of pages `first` to `last` in reading order; a form feed ends each page.
[[nodiscard]] inline std::string text_of(const std::filesystem::path& pdf, int first = 1,
                                         int last = 10000) {
  return output_of("pdftotext -f " + std::to_string(first) + " -l " + std::to_string(last) + " '" +
                   pdf.string() + "' -");
}
[[nodiscard]] inline std::string fonts_of(const std::filesystem::path& pdf) {
  return output_of("pdffonts '" + pdf.string() + "'");
}
[[nodiscard]] inline std::string info_of(const std::filesystem::path& pdf) {
  return output_of("pdfinfo '" + pdf.string() + "'");
}

[[nodiscard]] inline std::vector<std::string> pages_of(const std::filesystem::path& pdf) {
  const std::string text = text_of(pdf);
  std::vector<std::string> pages;
  std::size_t from = 0;
  for (std::size_t end = text.find('\f'); end != std::string::npos;
       from = end + 1, end = text.find('\f', from))
    pages.push_back(text.substr(from, end - from));
  return pages;
}

/// One word and its box on its page, points from the top left.
struct Word {
  int page = 0;
  double x0 = 0, y0 = 0, x1 = 0, y1 = 0;
  std::string text;
};
[[nodiscard]] inline std::vector<Word> words_of(const std::filesystem::path& pdf) {
  const std::string html = output_of("pdftotext -bbox '" + pdf.string() + "' -");
  static const std::regex line(
      R"re(<page |<word xMin="([0-9.-]+)" yMin="([0-9.-]+)" xMax="([0-9.-]+)" yMax="([0-9.-]+)">([^<]*)<)re");
  std::vector<Word> words;
  int page = 0;
  for (std::sregex_iterator m(html.begin(), html.end(), line), end; m != end; ++m) {
    if (!(*m)[1].matched)
      ++page;
    else
      words.push_back({page, std::stod((*m)[1]), std::stod((*m)[2]), std::stod((*m)[3]),
                       std::stod((*m)[4]), (*m)[5]});
  }
  return words;
}

/// A page as grey levels.
struct GreyPage {
  int width = 0, height = 0;
  std::vector<unsigned char> values;
};
[[nodiscard]] inline GreyPage render(const std::filesystem::path& pdf, int page, int dpi) {
  const std::filesystem::path stem = pdf.string() + "-page";
  std::system(("pdftoppm -gray -singlefile -r " + std::to_string(dpi) + " -f " +
               std::to_string(page) + " '" + pdf.string() + "' '" + stem.string() + "'")
                  .c_str());
  std::ifstream stream(stem.string() + ".pgm", std::ios::binary);
  std::string magic;
  GreyPage out;
  int top = 0;
  stream >> magic >> out.width >> out.height >> top;
  stream.get();
  out.values.assign(std::istreambuf_iterator<char>(stream), {});
  return out;
}

}  // namespace leastharm::poppler
