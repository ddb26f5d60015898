// The page of an invented session with its invented pictures.
#pragma once

#include <string>

#include "base/files.hpp"
#include "report/page.hpp"
#include "report/picture.hpp"
#include "report/words.hpp"
#include "support/invented_picture.hpp"

namespace baizetrace::invented {

inline table::Table full_size() {
  set_data_folder(BAIZETRACE_SOURCE);
  return table::Table(*table::read_spec("full-size"));
}

inline std::string page(const practice::Session& session, int picture_width = 1920) {
  const table::Table table = full_size();
  const camera::Rig rig = invented::rig(picture_width, picture_width * 9 / 16);
  report::PageInput in{session, table, nullptr, {}, 0.02625};
  for (const practice::Attempt& a : session.attempts) {
    report::PictureOptions options;
    options.caption = "Invented " + std::to_string(a.number) + ". " + report::words_of(a, table).verdict;
    in.pictures.push_back(report::attempt_picture(picture(rig, table, a), rig, table, a, options));
  }
  return report::report_page(in);
}

}  // namespace baizetrace::invented
