#include "pdf_catalog.h"

#include <cstdio>
#include <stdexcept>

namespace leastharm {
namespace {

/// The whole number after the last `key` in the file.
long number_after(const std::string& pdf, const std::string& key) {
  const std::size_t at = pdf.rfind(key);
  if (at == std::string::npos) throw std::runtime_error("The PDF has no " + key + ".");
  return std::stol(pdf.substr(at + key.size(), 24));
}

}  // namespace

std::string with_language(std::string pdf, const std::string& language) {
  const long root = number_after(pdf, "/Root"), size = number_after(pdf, "/Size"),
             xref = number_after(pdf, "startxref");
  const std::string head = std::string("\n") + std::to_string(root) + " 0 obj";
  const std::size_t object = pdf.rfind(head);
  const std::size_t open = pdf.find("<<", object), close = pdf.find("endobj", object);
  if (object == std::string::npos || open == std::string::npos || close == std::string::npos)
    throw std::runtime_error("The PDF has no catalog.");
  const std::string entries = pdf.substr(open + 2, close - open - 2);
  if (pdf.back() != '\n') pdf += '\n';
  char offset[11];
  std::snprintf(offset, sizeof offset, "%010zu", pdf.size());
  pdf += head.substr(1) + "\n<< /Lang (" + language +
         ") /ViewerPreferences << /DisplayDocTitle true >>" + entries + "endobj\n";
  const std::size_t update = pdf.size();
  pdf += "xref\n" + std::to_string(root) + " 1\n" + offset + " 00000 n \ntrailer\n<< /Size " +
         std::to_string(size);
  const std::size_t info = pdf.rfind("/Info");
  if (info != std::string::npos)
    pdf += " /Info " + std::to_string(number_after(pdf, "/Info")) + " 0 R";
  pdf += " /Root " + std::to_string(root) + " 0 R /Prev " + std::to_string(xref) +
         " >>\nstartxref\n" + std::to_string(update) + "\n%%EOF\n";
  return pdf;
}

}  // namespace leastharm
