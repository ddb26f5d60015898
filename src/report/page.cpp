#include "report/page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <opencv2/imgproc.hpp>

#include "base/files.hpp"
#include "report/assets.hpp"
#include "report/attempt_plan.hpp"
#include "report/html.hpp"
#include "report/names.hpp"
#include "report/page_attempt.hpp"
#include "report/page_group.hpp"
#include "report/plan.hpp"
#include "report/session_words.hpp"
#include "report/words.hpp"
#include "video/still.hpp"

namespace baizetrace::report {
namespace {

constexpr std::size_t kMostPicture = 400'000;  // bytes in base 64: more shows nothing more on any screen
constexpr std::size_t kSpare = 100'000;        // bytes of the page's limit kept free

// The sharpest JPEG of at most so many bytes in base 64, from a ladder of sizes; an <img>. "" when none fits.
std::string picture_within(const cv::Mat& bgr, std::size_t bytes, const std::string& alt) {
  static constexpr std::array<std::array<int, 2>, 8> kLadder{
      {{1600, 84}, {1280, 82}, {1040, 80}, {860, 78}, {700, 74}, {560, 70}, {430, 62}, {330, 52}}};  // width, quality
  if (bgr.empty()) return {};
  for (const auto& [width, quality] : kLadder) {
    // Never seen below this: no use in trying.
    constexpr double kLeastBytesAPixel = 0.03;
    const double shrunk = std::min(1.0, static_cast<double>(width) / bgr.cols);
    if (kLeastBytesAPixel * shrunk * shrunk * static_cast<double>(bgr.total()) * 4 / 3 > static_cast<double>(bytes))
      continue;
    cv::Mat small = bgr;
    if (bgr.cols > width)
      cv::resize(bgr, small, cv::Size(width, std::max(1, bgr.rows * width / bgr.cols)), 0, 0, cv::INTER_AREA);
    const std::vector<std::uint8_t> jpeg = video::jpeg_of(small, quality);
    if (jpeg.size() * 4 / 3 + 4 > bytes) continue;
    return fmt::format("<img src=\"data:image/jpeg;base64,{}\" width=\"{}\" height=\"{}\" alt=\"{}\">", base64(jpeg),
                       small.cols, small.rows, escape_xml(alt));
  }
  return {};
}

// Empty: there is none, of a session without film.
cv::Mat read_picture(const std::string& file) {
  const auto content = read_text(file);
  return content ? video::still_of(as_bytes(*content)) : cv::Mat();
}

std::string conditions_table(const practice::Session& s) {
  HtmlTable t;
  t.caption = "How the table plays: measured or assumed";
  t.heads = {"what", "value", "from"};
  for (const auto& [name, c] : s.conditions) {
    std::string words = name;
    if (name == "rolling") words = "rolling resistance, share of gravity";
    if (name == "sliding") words = "cloth friction of a sliding ball";
    if (name == "cushion_restitution") words = "cushion's restitution";
    const int decimals = std::abs(c.value) < 0.1 ? 4 : 2;
    t.rows.push_back({escape_xml(words), with_u(c.value, c.u, decimals),
                      c.measured ? "measured in this recording" : "<i>assumed</i>"});
  }
  return t.html();
}

// "Clip 2, at 3.1 s: "; "" when nothing is to be said.
std::string told_when(const practice::Session& s, int clip, const std::string& time) {
  std::string when = s.more_clips.empty() ? "" : fmt::format("clip {}", clip + 1);
  if (!time.empty()) when += (when.empty() ? "" : ", ") + time;
  return when.empty() ? when : capital(when) + ": ";
}

std::string accuracy_list(const practice::Session& s) {
  std::string out = "<h2 id=\"accuracy\">What the numbers rest on</h2>\n<dl>\n";
  const auto item = [&](const char* name, const std::string& html) {
    out += fmt::format("<div><dt>{}</dt><dd>{}</dd></div>\n", name, html);
  };
  const auto recording = [&](const practice::ClipInfo& c) {
    item("recording",
         fmt::format("{}, {} x {}, {} frames, {:.1f} s", escape_xml(c.file), c.width, c.height, c.frames, c.duration));
  };
  recording(s.clip);
  for (const practice::ClipInfo& c : s.more_clips) recording(c);
  item("measured",
       s.complete ? "to the end"
                  : fmt::format("up to {:.1f} s only: it was stopped there, or the recording is cut short or damaged",
                                s.measured_until));
  item("registration", s.rig.rms > 0
                           ? fmt::format("{}: the table's model lies {:.2f} pixels ({:.1f} mm) RMS from the picture",
                                         escape_xml(s.rig.file), s.rig.rms_pixels, 1000 * s.rig.rms)
                           : escape_xml(s.rig.file) + ": its residuals are not known");
  if (s.rig.half_width > 0)
    item("table", fmt::format("{}, measured {:.1f} mm x {:.1f} mm between the noses", escape_xml(s.rig.table),
                              2000 * s.rig.half_length, 2000 * s.rig.half_width));
  item("row timing", s.rig.u_readout > 0 ? fmt::format("readout {} ms, estimated: it limits every time",
                                                       with_u(1000 * s.rig.readout, 1000 * s.rig.u_readout, 1))
                                         : fmt::format("readout {:.1f} ms, given as exact", 1000 * s.rig.readout));
  out +=
      "</dl>\n<p>± is one standard uncertainty. Headings: degrees clockwise from straight up the table. Places: the "
      "ball's centre.</p>\n";
  out += conditions_table(s);
  if (!s.warnings.empty()) {
    out += "<h3>Warnings</h3><ul>\n";
    for (const practice::Warning& w : s.warnings)
      out +=
          fmt::format("<li>{}</li>\n",
                      escape_xml(told_when(s, w.clip, w.time > 0 ? fmt::format("at {:.1f} s", w.time) : "") + w.what));
    out += "</ul>\n";
  }
  if (!s.refused.empty()) {
    out += "<h3>Not measured</h3><ul>\n";
    for (const practice::Refused& r : s.refused)
      out += fmt::format(
          "<li>{}</li>\n",
          escape_xml(told_when(s, r.clip, r.to > 0 ? fmt::format("{:.1f} to {:.1f} s", r.from, r.to) : "") + r.why));
    out += "</ul>\n";
  }
  return out;
}

// Sessions made before there were groups, and invented ones: all attempts are one group.
std::vector<practice::GroupSummary> summaries_of(const PageInput& in) {
  std::vector<practice::GroupSummary> out;
  for (std::size_t k = 0; k < in.session.groups.size(); ++k)
    out.push_back(practice::summarise(in.session, in.session.groups[k].number,
                                      k < in.setup_of_group.size() ? in.setup_of_group[k] : in.setup));
  if (out.empty()) out.push_back(practice::summarise(in.session, 0, in.setup));
  return out;
}

std::string not_complete(const practice::Session& s) {
  const auto cut = std::count_if(s.attempts.begin(), s.attempts.end(),
                                 [](const practice::Attempt& a) { return a.ended == practice::Ended::clip; });
  std::string out = cut == 0   ? ""
                    : cut == 1 ? "One was cut off by the end of the recording. "
                               : fmt::format("{} were cut off by the end of their recordings. ", cut);
  if (!s.complete) out += fmt::format("Measured up to {:.1f} s only.", s.measured_until);
  return out;
}

std::string head(const std::string& title) {
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; "
      "style-src 'sha256-{}' 'sha256-{}'; script-src 'sha256-{}' 'sha256-{}'; base-uri 'none'; form-action 'none'\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta name=\"referrer\" content=\"no-referrer\">\n<meta name=\"color-scheme\" content=\"light dark\">\n"
      "<title>{}</title>\n<link rel=\"icon\" href=\"data:,\">\n<style>{}</style>\n<style>{}</style>\n</head>\n",
      plan_css().sha256, page_css().sha256, chart_js().sha256, page_js().sha256, escape_xml(title), plan_css().text,
      page_css().text);
}

}  // namespace

std::string report_page(const PageInput& in) {
  WordsOptions options;
  options.ball_radius = in.ball_radius;
  options.setup = in.setup;
  const practice::Session& s = in.session;
  SessionWords words = words_of(s, in.table, options);
  const bool alone = s.attempts.size() == 1;
  std::vector<practice::GroupSummary> groups;
  if (!s.attempts.empty()) groups = summaries_of(in);
  if (!alone && groups.size() == 1) {
    const GroupWords said = group_words(groups[0]);
    words = {said.verdict, said.lead + (said.lead.empty() ? "" : " ") + not_complete(s)};
  }

  // Everything but the pictures first: they take what room is left.
  std::string top = "<body>\n<a class=\"skip\" href=\"#main\">To the attempts</a>\n<header>\n";
  if (s.setup) top += "<p class=\"over\">" + escape_xml(s.setup->second) + "</p>\n";
  top += "<h1>" + escape_xml(words.verdict) + "</h1>\n";
  if (!words.sentence.empty() && words.sentence != words.verdict)
    top += "<p class=\"lead\">" + escape_xml(words.sentence) + "</p>\n";
  top += "</header>\n<main id=\"main\">\n" + plan_table_symbol(in.table);
  std::string bottom = "<section>\n" + accuracy_list(s) + "</section>\n</main>\n";
  bottom += "<footer><p>Measured by Baizetrace from " + escape_xml(s.clip.file) + ".</p></footer>\n";
  bottom +=
      fmt::format("<script>{}</script>\n<script>{}</script>\n</body>\n</html>\n", chart_js().text, page_js().text);
  std::string middle;
  if (!alone)
    for (const practice::GroupSummary& g : groups) middle += group_section(in, g, groups.size() > 1);
  std::size_t taken = top.size() + middle.size() + bottom.size() + kSpare;
  std::vector<std::string> sections;
  for (const practice::Attempt& a : s.attempts) {
    // As it will be: a section with a picture may need less beside it.
    const bool pictured = sections.size() < in.pictures.size() && !in.pictures[sections.size()].empty();
    sections.push_back(attempt_section(in, a, pictured ? " " : "", alone));
    taken += sections.back().size();
  }
  const std::size_t room = taken < kPageBytes ? (kPageBytes - taken) / std::max<std::size_t>(1, s.attempts.size()) : 0;
  const auto picture = [&](std::size_t k) {
    if (k >= in.pictures.size()) return std::string();
    return picture_within(read_picture(in.pictures[k]), std::min(room, kMostPicture), picture_words(s.attempts[k]));
  };

  const std::string title = "Baizetrace: " + (s.setup ? s.setup->second : s.clip.file);
  std::string page = head(title) + top;
  if (alone) {
    const std::string first = picture(0);
    if (!first.empty()) page += "<figure class=\"picture first\">" + first + "</figure>\n";
    page += sections[0];
  } else {
    page += middle;
    for (std::size_t k = 0; k < sections.size(); ++k) {
      const std::string img = picture(k);
      page += attempt_section(in, s.attempts[k], img, false);
    }
  }
  return page + bottom;
}

}  // namespace baizetrace::report
