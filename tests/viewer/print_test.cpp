// The printout as its readers get it: judged by poppler's tools, not by our own code.
#include "viewer/print.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cctype>
#include <map>
#include <numeric>
#include <set>

#include "imaging/error.h"
#include "support/made_paper.h"
#include "support/poppler.h"

namespace leastharm {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::Not;

constexpr double kPointsPerMm = 72.0 / 25.4;

const std::vector<std::string> kTitles{"Summary in plain words",
                                       "Object and CT",
                                       "Why sample, and what else was considered",
                                       "What will be taken",
                                       "Routes",
                                       "Damage score, its weights and how firm the order is",
                                       "Certainty and what can go wrong",
                                       "What the mass can and cannot show",
                                       "Hazards and cautions",
                                       "On the day: entry, angle, depth for each track",
                                       "Afterwards: labels, storage, remainder, records",
                                       "Approvals and signatures",
                                       "Plan identity"};

fs::path temporary(const std::string& name) {
  const fs::path folder = fs::path(testing::TempDir()) / "leastharm_print";
  fs::create_directories(folder);
  return folder / name;
}

std::string bytes_of(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

made::MadeCase& usual_case() {
  static const std::unique_ptr<made::MadeCase> made = made::make_case();
  return *made;
}

/// The usual plan on A4, printed once for all tests.
const fs::path& usual_paper() {
  static const fs::path path = [] {
    const fs::path output = temporary("usual.pdf");
    print_plan(usual_case().paper(), output);
    return output;
  }();
  return path;
}

/// Prints a case that `change` has altered, and puts it back as it was.
template <typename Change>
fs::path print_changed(const std::string& name, Change change) {
  made::MadeCase& made = usual_case();
  const CaseFile file = made.file;
  const Assessment assessment = made.assessment;
  change(made);
  const fs::path output = temporary(name);
  print_plan(made.paper(), output);
  made.file = file;
  made.assessment = assessment;
  return output;
}

std::string on_one_line(std::string text) {
  std::string out;
  for (const char c : text)
    if (!std::isspace(static_cast<unsigned char>(c)))
      out += c;
    else if (!out.empty() && out.back() != ' ')
      out += ' ';
  return out;
}

/// Every word inside the margins, and none in the foot's place but the foot's own three.
void expect_words_inside(const fs::path& pdf, double width, double height) {
  const double side = 22 * kPointsPerMm;
  for (const poppler::Word& word : poppler::words_of(pdf)) {
    EXPECT_GE(word.x0, side - 1) << "page " << word.page << ": " << word.text;
    EXPECT_LE(word.x1, width - side + 1) << "page " << word.page << ": " << word.text;
    EXPECT_GE(word.y0, 10 * kPointsPerMm) << "page " << word.page << ": " << word.text;
    EXPECT_LE(word.y1, height - 11 * kPointsPerMm) << "page " << word.page << ": " << word.text;
  }
}

/// Words that lie upon one another: the sign of a cramped layout. Words over pictures keep clear of
/// each other too.
int overlaps_in(const fs::path& pdf) {
  const std::vector<poppler::Word> words = poppler::words_of(pdf);
  int count = 0;
  for (std::size_t a = 0; a < words.size(); ++a)
    for (std::size_t b = a + 1; b < words.size() && words[b].page == words[a].page; ++b) {
      const double dx = std::min(words[a].x1, words[b].x1) - std::max(words[a].x0, words[b].x0);
      const double dy = std::min(words[a].y1, words[b].y1) - std::max(words[a].y0, words[b].y0);
      // Boxes of neighbouring lines share a little; glyphs do not until they share half a line.
      if (dx > 1 && dy > 0.5 * (words[a].y1 - words[a].y0)) {
        ++count;
        ADD_FAILURE() << "page " << words[a].page << ": \"" << words[a].text << "\" lies on \""
                      << words[b].text << "\"";
      }
    }
  return count;
}

class Printout : public testing::Test {
 protected:
  void SetUp() override {
    if (!poppler::is_installed()) GTEST_SKIP() << "poppler-utils is not installed";
  }
};

TEST_F(Printout, HasItsSectionsInOrder) {
  const std::string text = on_one_line(poppler::text_of(usual_paper()));
  std::size_t at = 0;
  for (const std::string& title : kTitles) {
    const std::size_t found = text.find(title, at);
    ASSERT_NE(found, std::string::npos) << title;
    at = found + title.size();
  }
}

TEST_F(Printout, SaysWhatNobodyAnswered) {
  const std::string text = on_one_line(poppler::text_of(usual_paper()));
  EXPECT_THAT(text, HasSubstr("Legal status not answered"));
  EXPECT_THAT(text, HasSubstr("Consultation not answered"));
  EXPECT_THAT(text, HasSubstr("An invented collection"));
}

TEST_F(Printout, PrintsEveryAnswerOfTheDossier) {
  const fs::path pdf = print_changed("answers.pdf", [](made::MadeCase& made) {
    int n = 0;
    for (const std::string& topic : dossier_topics())
      made.file.request->dossier.answers[topic] =
          "Answer number " + std::to_string(++n) + " stands here.";
  });
  const std::string text = on_one_line(poppler::text_of(pdf));
  for (std::size_t n = 1; n <= dossier_topics().size(); ++n)
    EXPECT_THAT(text, HasSubstr("Answer number " + std::to_string(n) + " stands here."))
        << dossier_topics()[n - 1];
  EXPECT_THAT(text, Not(HasSubstr("not answered")));
}

TEST_F(Printout, CarriesObjectPlanAndPageOnEveryPage) {
  const auto pages = poppler::pages_of(usual_paper());
  ASSERT_GT(pages.size(), 10u);
  for (std::size_t n = 0; n < pages.size(); ++n) {
    const std::string page = on_one_line(pages[n]);
    EXPECT_THAT(page, HasSubstr("Invented child 7"));
    EXPECT_THAT(page, HasSubstr("Plan version 2 · 3f2a91c0"));
    EXPECT_THAT(page,
                HasSubstr("page " + std::to_string(n + 1) + " of " + std::to_string(pages.size())));
  }
}

TEST_F(Printout, GivesTheSameBytesForTheSamePaper) {
  const fs::path again = temporary("again.pdf");
  print_plan(usual_case().paper(), again);
  EXPECT_EQ(bytes_of(usual_paper()), bytes_of(again));
}

TEST_F(Printout, KeepsItsWordsInsideTheMarginsAndApart) {
  expect_words_inside(usual_paper(), 595.28, 841.89);
  EXPECT_EQ(overlaps_in(usual_paper()), 0);
}

TEST_F(Printout, HoldsTwelveTracksWithLongNamesOnLetterPaper) {
  static const std::string long_id = "Replicate-of-the-thoracic-packing-";
  const auto made = made::make_case(12, long_id);
  made->file.object_id =
      "Invented object with a very long inventory number 1234/5678/90-ABCDEF, found in a store "
      "room of no museum";
  for (TrackAssessment& t : made->assessment.tracks)
    t.findings.push_back({Level::note,
                          "The core lies within 4 mm of the border of what is requested; a miss "
                          "takes body tissue."});
  const fs::path pdf = temporary("twelve.pdf");
  print_plan(made->paper(), pdf, PageSize::letter);
  EXPECT_THAT(poppler::info_of(pdf), HasSubstr("612 x 792 pts (letter)"));
  expect_words_inside(pdf, 612, 792);
  EXPECT_EQ(overlaps_in(pdf), 0);
  const auto pages = poppler::pages_of(pdf);
  int routes = 0;
  for (const std::string& page : pages)
    routes += std::regex_search(page, std::regex("Route [0-9]+ · Replicate"));
  EXPECT_EQ(routes, 12);
}

TEST_F(Printout, EmbedsOneTypefaceFamily) {
  std::istringstream lines(poppler::fonts_of(usual_paper()));
  std::string line;
  std::getline(lines, line);
  std::getline(lines, line);
  int fonts = 0;
  while (std::getline(lines, line)) {
    ++fonts;
    EXPECT_THAT(line, HasSubstr("+Lato-"));
    EXPECT_THAT(line,
                testing::ContainsRegex("yes yes yes"));  // embedded, subset, mapped to Unicode
  }
  EXPECT_GE(fonts, 2);
}

TEST_F(Printout, NamesItsTitleLanguageAndOutline) {
  EXPECT_THAT(poppler::info_of(usual_paper()), HasSubstr("Sampling plan for Invented child 7"));
  const std::string bytes = bytes_of(usual_paper());
  EXPECT_THAT(bytes, HasSubstr("/Lang (en-GB)"));
  EXPECT_THAT(bytes, HasSubstr("/Outlines"));
  EXPECT_THAT(poppler::output_of("pdfinfo -dests '" + usual_paper().string() + "'"),
              HasSubstr("atPlan-identity"));
}

/// Dark blobs of a page, as width, height and area in mm.
struct Blob {
  int left = 1 << 30, right = -1, top = 1 << 30, bottom = -1, pixels = 0;
};
std::vector<Blob> dark_blobs(const poppler::GreyPage& page, int from_column, int from_row) {
  std::vector<Blob> blobs;
  std::vector<char> seen(page.values.size(), 0);
  const auto is_dark = [&](int x, int y) {
    return page.values[static_cast<std::size_t>(y) * page.width + x] < 128;
  };
  for (int y = from_row; y < page.height; ++y)
    for (int x = from_column; x < page.width; ++x) {
      if (!is_dark(x, y) || seen[static_cast<std::size_t>(y) * page.width + x]) continue;
      Blob blob;
      std::vector<std::pair<int, int>> stack{{x, y}};
      seen[static_cast<std::size_t>(y) * page.width + x] = 1;
      while (!stack.empty()) {
        const auto [px, py] = stack.back();
        stack.pop_back();
        blob = {std::min(blob.left, px), std::max(blob.right, px), std::min(blob.top, py),
                std::max(blob.bottom, py), blob.pixels + 1};
        for (const auto& [qx, qy] :
             {std::pair{px + 1, py}, {px - 1, py}, {px, py + 1}, {px, py - 1}}) {
          if (qx < from_column || qy < from_row || qx >= page.width || qy >= page.height ||
              !is_dark(qx, qy))
            continue;
          char& mark = seen[static_cast<std::size_t>(qy) * page.width + qx];
          if (mark) continue;
          mark = 1;
          stack.emplace_back(qx, qy);
        }
      }
      blobs.push_back(blob);
    }
  return blobs;
}

TEST_F(Printout, DrawsTheHoleAtItsTrueSize) {
  constexpr int dpi = 300;
  constexpr double mm_per_px = 25.4 / dpi;
  const auto pages = poppler::pages_of(usual_paper());
  int route_page = 0;
  while (pages[static_cast<std::size_t>(route_page)].find("Route T1") == std::string::npos)
    ++route_page;
  const poppler::GreyPage page = poppler::render(usual_paper(), route_page + 1, dpi);
  ASSERT_NEAR(page.width, 2480, 1);
  const TrackAssessment& track = usual_case().assessment.tracks.front();
  const double across = track.track.needle.outer_mm,
               along = across / std::cos(track.entry_angle_deg * M_PI / 180);
  int holes = 0, bars = 0;
  for (const Blob& blob : dark_blobs(page, page.width * 3 / 4, page.height / 2)) {
    const double width = (blob.right - blob.left + 1) * mm_per_px,
                 height = (blob.bottom - blob.top + 1) * mm_per_px;
    holes += std::abs(width - along) < 0.1 && std::abs(height - across) < 0.1 &&
             std::abs(blob.pixels * mm_per_px * mm_per_px - M_PI / 4 * across * along) < 0.4;
    bars += std::abs(width - 20.25) < 0.2 && height < 3;  // 20 mm between the strokes' middles
  }
  EXPECT_EQ(holes, 1);
  EXPECT_EQ(bars, 1);
}

/// Syllables by groups of vowels, a silent e at the end left out; at least one.
int syllables(const std::string& word) {
  int count = 0;
  bool vowel = false;
  for (const char c : word) {
    const bool now = std::string("aeiouy").find(static_cast<char>(
                         std::tolower(static_cast<unsigned char>(c)))) != std::string::npos;
    count += now && !vowel;
    vowel = now;
  }
  if (word.size() > 2 && word.back() == 'e' && word[word.size() - 2] != 'l' && count > 1) --count;
  return std::max(1, count);
}

/// Flesch's reading ease: 206.835 - 1.015 words/sentence - 84.6 syllables/word. Source: Flesch, "A
/// new readability yardstick", Journal of Applied Psychology 32 (1948), 221-233.
double reading_ease(const std::string& text) {
  int words = 0, sentences = 0, sum = 0;
  std::string word;
  for (std::size_t n = 0; n <= text.size(); ++n) {
    const char c = n < text.size() ? text[n] : ' ';
    if (std::isalpha(static_cast<unsigned char>(c))) {
      word += c;
      continue;
    }
    if (!word.empty()) {
      ++words;
      sum += syllables(word);
      word.clear();
    }
    const bool ends =
        (c == '.' || c == '?' || c == '!') &&
        (n + 1 >= text.size() || std::isspace(static_cast<unsigned char>(text[n + 1])));
    sentences += ends;
  }
  return 206.835 - 1.015 * words / std::max(1, sentences) - 84.6 * sum / std::max(1, words);
}

TEST_F(Printout, ReadsEasilyOnPageOne) {
  const std::string page = on_one_line(poppler::text_of(usual_paper(), 1, 1));
  EXPECT_GE(reading_ease(page), 60) << page;
  for (const char* question : {"Why?", "How much?", "How many holes?", "Through what?",
                               "What of the remains?", "Who may stop it?", "Take nothing",
                               "Use a stored sample", "Take half the mass", "Take one core"})
    EXPECT_THAT(page, HasSubstr(question));
}

TEST(ReadingEase, FallsWithLongWordsAndLongSentences) {
  EXPECT_GT(reading_ease("The cat sat. The dog ran. We go home."), 100);
  EXPECT_LT(reading_ease("Multidisciplinary considerations necessitate comprehensive "
                         "interinstitutional deliberation regarding documentation."),
            0);
}

TEST_F(Printout, NamesNoSideThatNobodyConfirmed) {
  const fs::path pdf = print_changed("unconfirmed.pdf", [](made::MadeCase& made) {
    made.file.frame.reset();
    for (TrackAssessment& t : made.assessment.tracks) t.side = "scanner " + t.side;
  });
  const auto pages = poppler::pages_of(pdf);
  EXPECT_THAT(on_one_line(pages[0]), HasSubstr("Which side is left is not confirmed yet."));
  EXPECT_THAT(on_one_line(pages[1]), HasSubstr("Sides not confirmed."));
  static const std::regex bare(R"(\b(left|right)\b)");
  for (const std::string& page : pages) {
    if (page.find("Route T") == std::string::npos) continue;
    const std::string text = std::regex_replace(
        on_one_line(page), std::regex("[Ss]canner((?: front| back| head| feet)?) (left|right)"),
        "scanner side");
    EXPECT_FALSE(std::regex_search(text, bare)) << text;
  }
}

TEST_F(Printout, SaysHonestlyThatNoProofExistsYet) {
  const std::string page = on_one_line(poppler::text_of(usual_paper(), 1, 1));
  EXPECT_THAT(page, HasSubstr("No proof is given yet"));
}

TEST_F(Printout, PutsACertificateIntoWords) {
  const fs::path pdf = print_changed("proven.pdf", [](made::MadeCase& made) {
    made.assessment.programme.score = 500;
    made.file.plan.certificate = Certificate{400, 0.2, "all straight tracks", "branch and bound"};
  });
  EXPECT_THAT(on_one_line(poppler::text_of(pdf, 1, 1)),
              HasSubstr("can score below 400.0; the plan scores 500.0, at most 25.0 % above the "
                        "least possible."));
}

TEST_F(Printout, SaysWhetherMoreTimeWouldTellMore) {
  const auto first_page = [&](double bound, const std::string& stopped) {
    return on_one_line(poppler::text_of(print_changed(stopped + ".pdf", [&](made::MadeCase& made) {
      made.assessment.programme.score = 500;
      made.file.plan.certificate = Certificate{bound, 1 - bound / 500, "all straight tracks", "branch and bound"};
      made.file.plan.stopped = stopped;
    }), 1, 1));
  };
  EXPECT_THAT(first_page(300, "time"), HasSubstr("lies between the two; a search with more time brings them nearer"));
  EXPECT_THAT(first_page(300, "nodes"), HasSubstr("lies between the two; where, the search does not tell."));
  EXPECT_THAT(first_page(0, "time"), HasSubstr("how near that is to the least possible; a search with more time may."));
  EXPECT_THAT(first_page(0, "nodes"), HasSubstr("how near that is to the least possible."));
}

TEST_F(Printout, NeverPromisesSafetyAndAlwaysSaysWhatLeastHarmMeans) {
  for (const std::string& page : poppler::pages_of(usual_paper())) {
    const std::string text = on_one_line(page);
    EXPECT_THAT(text, Not(HasSubstr("safe")));
    if (text.find("east harm") != std::string::npos) {
      EXPECT_THAT(
          text,
          HasSubstr("least score under these weights, this map, these needles, straight tracks"));
    }
  }
}

TEST_F(Printout, TellsValidApprovalsFromVoidOnes) {
  const fs::path pdf = print_changed("approvals.pdf", [](made::MadeCase& made) {
    const auto parts = plan_parts(made.file);
    made.file.approvals.push_back({"radiologist", "A. Invented", "2026-02-04T09:00:00Z", "approved",
                                   "only with a control scan", "", plan_sha256(made.file), parts,
                                   ""});
    made.file.approvals.push_back({"conservator", "B. Invented", "2026-02-04T10:00:00Z", "declined",
                                   "", "brittle feet", plan_sha256(made.file), parts, ""});
    made.file.approvals.push_back(made.file.approvals.front());
    made.file.approvals.back().role = "committee";
    made.file.approvals.back().parts["marks"] = "another hash";
  });
  const std::string text = on_one_line(poppler::text_of(pdf));
  EXPECT_THAT(text, HasSubstr("Approved by radiologist, on a condition. Declined by conservator."));
  EXPECT_THAT(text, HasSubstr("void: marks changed since"));
  EXPECT_THAT(text, HasSubstr("4 February 2026"));
  EXPECT_THAT(text, HasSubstr("only with a control scan"));
}

TEST_F(Printout, PrintsAPlanWithoutTracksOrRequest) {
  const fs::path pdf = print_changed("empty.pdf", [](made::MadeCase& made) {
    made.assessment = {};
    made.file.request.reset();
    made.file.plan = {};
  });
  const std::string text = on_one_line(poppler::text_of(pdf));
  EXPECT_THAT(text, HasSubstr("No track is planned yet."));
  expect_words_inside(pdf, 595.28, 841.89);
}

TEST_F(Printout, RefusesAPlaceThatCannotBeWritten) {
  EXPECT_THROW(
      print_plan(usual_case().paper(), temporary("no-such-folder") / "deeper" / "plan.pdf"),
      BadInput);
}

/// A card for tracks with long names and long reasons to halt.
fs::path card_of(int tracks, const std::string& name, PageSize size = PageSize::a4) {
  Transfer transfer{.number = 3, .at = "2026-03-04T08:00:00Z", .plan_sha256 = std::string(64, 'a'), .plan = "v2-aaaaaaaa"};
  transfer.day_ct.sha256 = std::string(64, 'd');
  transfer.registration.method = "surface and bone";
  for (int n = 0; n < tracks; ++n) {
    CardTrack t{.order = n + 1, .id = "left-flank-" + std::to_string(n + 1), .needle = needle_catalogue().front()};
    t.entry_lps_mm = {-112.25, 88.5, -1234.5};
    t.slice = 240, t.right_mm = -112.3, t.down_mm = 88.8, t.in_plane_deg = -134.5, t.out_of_plane_deg = 12.26;
    t.depth_mm = 141.7, t.stop_mm = 8.3, t.error_p95_mm = 1.4, t.placement_mm = 3;
    t.halts = {{70.8, "half depth"}, {92.4, "10 mm before dense-1 (7.2 mm beside the needle)"}};
    t.admissible = n != 1;
    if (n == 1) t.ask_first = "the chance that the core yields 7 mg is 0.794, under the limit of 0.84 by 0.046; when planned the chance of enough was 0.912";
    transfer.card.tracks.push_back(t);
  }
  print_day_card(usual_case().file, transfer, temporary(name), size);
  return temporary(name);
}

TEST_F(Printout, SetsFiveTracksOnOneCardAndTwelveOnThree) {
  EXPECT_EQ(poppler::pages_of(card_of(5, "card5.pdf")).size(), 1u);
  const fs::path twelve = card_of(12, "card12.pdf", PageSize::letter);
  EXPECT_EQ(poppler::pages_of(twelve).size(), 3u);
  EXPECT_EQ(bytes_of(twelve), bytes_of(card_of(12, "card12_again.pdf", PageSize::letter)));
  expect_words_inside(card_of(5, "card5.pdf"), 595.28, 841.89);
  EXPECT_EQ(overlaps_in(card_of(5, "card5.pdf")), 0);
  EXPECT_EQ(overlaps_in(twelve), 0);
  const std::string text = on_one_line(poppler::text_of(card_of(5, "card5.pdf")));
  for (const char* said : {"−1234.5 mm", "112.3 mm", "of x = 0, to the picture’s left", "134.5°", "12.3°", "141.7 mm", "8.3 mm of needle stay outside",
                           "ASK FIRST", "when planned the chance of enough was 0.912", "Those who approved the plan say yes or no", "Radiologist: missing", "NOT APPROVED, DO NOT SAMPLE", "92.4 mm (10 mm before dense-1)", "left-flank-5", "Anyone in the room may stop the work"})
    EXPECT_THAT(text, HasSubstr(said)) << said;
}

TEST_F(Printout, ListsWhatWasTakenAndWhatIsLeft) {
  const fs::path pdf = print_changed("taken.pdf", [](made::MadeCase& made) {
    nlohmann::json said{{"outcome", "taken"}, {"sample", "S-7"}, {"gross_mg", 1214.2}, {"tare_mg", 1200}, {"container", "vial 7"},
                        {"custodian", "Invented keeper"}, {"taken_at", "2026-03-04T09:30:00Z"},
                        {"persons", {{{"name", "O. Example"}, {"role", "operator"}}}}};
    record_core(made.file.records, {{"track", "T1"}, {"plan", "v2"}, {"taken", to_json(parse_taken(said))},
                                    {"held_against_plan", {{"tip_mm", 2.4}}}, {"crossed", nullptr}, {"damage", nullptr}}, "2026-03-04T10:00:00Z");
    record_use(made.file.records, {{"sample", "S-7"}, {"mg", 10}, {"for", "GC-MS"}, {"by", "Invented laboratory"}}, "2026-03-05T10:00:00Z");
  });
  const std::string text = on_one_line(poppler::text_of(pdf));
  for (const char* said : {"Recorded so far", "S-7", "14.2", "10.0", "4.2", "2.4 mm", "vial 7"}) EXPECT_THAT(text, HasSubstr(said)) << said;
}

TEST_F(Printout, ShowsNothingOfWhatIsWithheld) {
  made::MadeCase& made = usual_case();
  const Grid& grid = made.volumes.body.grid;
  const TrackAssessment& telling = std::ranges::max(
      made.assessment.tracks, {}, [](const TrackAssessment& t) { return t.crossings.size(); });
  const Vec3 along = (telling.track.tip_lps_mm - telling.track.entry_lps_mm).normalized();
  const Vec3 beside = along.cross(grid.direction.col(2)).normalized();
  const Vec3 centre = telling.track.entry_lps_mm + 40 * along + 34 * beside;   // in the section, off the needle
  made.volumes.body.marks.push_back({"secret", MarkKind::zone, 1, false, ball_mask(grid, centre, 26)});
  const Mask inner = ball_mask(grid, centre, 20);
  const auto drawn = [&](const std::string& name, std::int16_t hu, std::vector<std::string> withheld) {
    const auto former = made.volumes.ct.hu.values;
    for (int k = 0; k < grid.size[2]; ++k)
      for (int j = 0; j < grid.size[1]; ++j)
        for (int i = 0; i < grid.size[0]; ++i)
          if (inner.contains({i, j, k})) made.volumes.ct.hu.values[grid.offset(i, j, k)] = hu;
    Paper paper = made.paper();
    paper.withheld = std::move(withheld);
    const std::string bytes = bytes_of(draw_pictures(paper, temporary(name))[1]);
    made.volumes.ct.hu.values = former;
    return bytes;
  };
  EXPECT_NE(drawn("a", 400, {}), drawn("b", -900, {}));
  EXPECT_EQ(drawn("c", 400, {"secret"}), drawn("d", -900, {"secret"}));
  Paper paper = made.paper();
  paper.withheld = {"secret"};
  print_plan(paper, temporary("withheld.pdf"));
  made.volumes.body.marks.pop_back();
  EXPECT_THAT(on_one_line(poppler::text_of(temporary("withheld.pdf"))), HasSubstr("No picture in this paper shows: secret"));
}

TEST_F(Printout, DrawsItsPicturesTheSameTwice) {
  const auto once = draw_pictures(usual_case().paper(), temporary("pictures"));
  const auto twice = draw_pictures(usual_case().paper(), temporary("pictures_again"));
  ASSERT_EQ(once.size(), 3u);
  std::set<std::string> names;
  for (std::size_t n = 0; n < once.size(); ++n) {
    names.insert(once[n].filename().string());
    EXPECT_EQ(bytes_of(once[n]), bytes_of(twice[n]));
    EXPECT_GT(fs::file_size(once[n]), 20000u);
  }
  EXPECT_EQ(names, (std::set<std::string>{"body.png", "log.png", "routes.png"}));
}

}  // namespace
}  // namespace leastharm
