// A session that was measured before: its file, its table, its setups.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "practice/session.hpp"
#include "practice/setup.hpp"
#include "table/ball_set.hpp"
#include "table/table.hpp"

namespace baizetrace::cli {

struct OldSession {
  std::string file;    // session.json
  std::string folder;  // that it lies in
  practice::Session session;
  std::string table_name;
  table::Table table;  // as it was measured: size and spots
  table::BallSet balls;
};

// `where`: a session.json, or the folder that `measure` filled. Errors: one line.
[[nodiscard]] Result<OldSession> open_session(const std::string& where);

// The setups that the session's groups name, read again where they still lie; one a group.
[[nodiscard]] std::vector<std::optional<practice::Setup>> setups_of(const practice::Session& session);

}  // namespace baizetrace::cli
