// What is said beside a film: captions that tell what happened (WebVTT, W3C) and a list of chapters.
//
// Law: captions say what the session holds and no more; words_of() and its limits decide what can be told.
#pragma once

#include <string>
#include <vector>

#include "practice/session.hpp"
#include "practice/setup.hpp"
#include "report/words.hpp"
#include "table/table.hpp"

namespace baizetrace::report {

struct Cue {
  double from = 0, to = 0;  // s of the film
  std::string text;
};

// From a film that shows the attempt from `from` to `to` (s of the clip), the clip's `from` at `shift` s of the film.
struct CaptionSpan {
  double from = 0, to = 0, shift = 0;
};
[[nodiscard]] std::vector<Cue> captions(const practice::Attempt& attempt, const table::Table& table,
                                        const WordsOptions& options, const CaptionSpan& span);

// The file's text. Cues that are empty or end before they begin are left out.
[[nodiscard]] std::string webvtt(const std::vector<Cue>& cues);

struct Chapter {
  double at = 0;  // s
  std::string title;
};
// Of the whole recording, its clips joined end to end: one an attempt, from `lead` s before its strike. The first
// stands at 0.
[[nodiscard]] std::vector<Chapter> chapters(const practice::Session& session, const table::Table& table,
                                            const std::vector<const practice::Setup*>& setup_of_group, double lead);
// Lines "00:00 Title"; hours only when there are any.
[[nodiscard]] std::string chapter_list(const std::vector<Chapter>& chapters);

// "2 of 2"; "" not scored.
[[nodiscard]] std::string score_words(const practice::Attempt& attempt);

}  // namespace baizetrace::report
