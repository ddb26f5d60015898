#include "journal/journal.hpp"

#include <SQLiteCpp/Backup.h>
#include <SQLiteCpp/SQLiteCpp.h>

#include <bit>
#include <chrono>
#include <cstring>
#include <filesystem>
#include <map>

#include "journal/schema.hpp"
#include "practice/stop.hpp"

static_assert(std::endian::native == std::endian::little, "paths are kept little-endian");

namespace baizetrace::journal {
namespace fs = std::filesystem;
namespace {

constexpr int kWait = 10'000;  // ms for another machine that writes

std::string recording_of(const practice::Session& s) {
  std::string out;
  const auto add = [&](const practice::ClipInfo& c) {
    out += fmt::format("{} {}x{} {:.3f} s;", fs::path(c.file).filename().string(), c.width, c.height, c.duration);
  };
  add(s.clip);
  for (const practice::ClipInfo& c : s.more_clips) add(c);
  return out;
}

// UTC date of the recording's file; "" when it is not there (any more).
std::string date_of(const std::string& file) {
  std::error_code code;
  const auto time = fs::last_write_time(file, code);
  if (code) return {};
  const auto system = std::chrono::file_clock::to_sys(time);
  const std::chrono::year_month_day day{std::chrono::floor<std::chrono::days>(system)};
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(day.year()), static_cast<unsigned>(day.month()),
                     static_cast<unsigned>(day.day()));
}

std::string packed(const std::vector<PathRow>& rows, double strike) {
  std::vector<float> v;
  for (const PathRow& r : rows)
    for (const double x : {r.time - strike, r.at.x(), r.at.y()}) v.push_back(static_cast<float>(x));
  std::string bytes(v.size() * sizeof(float), '\0');
  if (!v.empty()) std::memcpy(bytes.data(), v.data(), bytes.size());
  return bytes;
}

void bind_to(SQLite::Statement& q, int at, const std::optional<double>& v) {
  if (v)
    q.bind(at, *v);
  else
    q.bind(at);
}
void bind_to(SQLite::Statement& q, int at, const std::optional<bool>& v) {
  if (v)
    q.bind(at, *v ? 1 : 0);
  else
    q.bind(at);
}
void bind_id(SQLite::Statement& q, int at, const std::optional<int>& v) {
  if (v)
    q.bind(at, *v);
  else
    q.bind(at);
}
std::optional<double> number(const SQLite::Column& c) {
  return c.isNull() ? std::nullopt : std::optional(c.getDouble());
}
std::optional<bool> flag(const SQLite::Column& c) { return c.isNull() ? std::nullopt : std::optional(c.getInt() != 0); }

std::string quoted(const std::string& field) {  // RFC 4180
  if (field.find_first_of(",\"\r\n") == std::string::npos) return field;
  std::string out = "\"";
  for (const char c : field) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + "\"";
}

}  // namespace

struct Journal::State {
  std::string file;
  mutable SQLite::Database db;
  explicit State(const std::string& f) : file(f), db(f, SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE, kWait) {}

  // Runs `work`; a library's exception becomes one line.
  template <class Work>
  auto guarded(Work work) const -> decltype(work()) {
    try {
      return work();
    } catch (const std::exception& e) {
      return fail("{}: {}", file, e.what());
    }
  }

  void bring_up_to_date() {
    const auto newest = static_cast<int>(steps().size());
    if (db.execAndGet("PRAGMA user_version").getInt() == newest) return;
    SQLite::Transaction all(db, SQLite::TransactionBehavior::IMMEDIATE);
    int version = db.execAndGet("PRAGMA user_version").getInt();  // another machine may have been first
    for (; version < newest; ++version) db.exec(steps()[static_cast<std::size_t>(version)]);
    db.exec(fmt::format("PRAGMA application_id = {}", kApplication));
    db.exec(fmt::format("PRAGMA user_version = {}", newest));
    all.commit();
  }

  int id_of(const char* find, const char* make, const std::vector<std::string>& values) {
    SQLite::Statement q(db, find);
    q.bind(1, values[0]);
    if (q.executeStep()) return q.getColumn(0).getInt();
    SQLite::Statement m(db, make);
    for (std::size_t i = 0; i < values.size(); ++i) m.bind(static_cast<int>(i) + 1, values[i]);
    m.exec();
    return static_cast<int>(db.getLastInsertRowid());
  }
  int player(const std::string& name) {
    return id_of("SELECT id FROM players WHERE name = ?", "INSERT INTO players (name) VALUES (?)", {name});
  }
  int setup(const std::string& title, const std::string& setup_file) {
    return id_of("SELECT id FROM setups WHERE title = ?", "INSERT INTO setups (title, file) VALUES (?, ?)",
                 {title, setup_file});
  }
  int table(const practice::Session& s) {
    SQLite::Statement q(db, "SELECT id FROM tables WHERE name = ? AND half_width = ? AND half_length = ?");
    q.bind(1, s.rig.table);
    q.bind(2, s.rig.half_width);
    q.bind(3, s.rig.half_length);
    if (q.executeStep()) return q.getColumn(0).getInt();
    SQLite::Statement m(db, "INSERT INTO tables (name, half_width, half_length) VALUES (?, ?, ?)");
    m.bind(1, s.rig.table);
    m.bind(2, s.rig.half_width);
    m.bind(3, s.rig.half_length);
    m.exec();
    return static_cast<int>(db.getLastInsertRowid());
  }
};

Journal::Journal(std::unique_ptr<State> state) : state_(std::move(state)) {}
Journal::Journal(Journal&&) noexcept = default;
Journal& Journal::operator=(Journal&&) noexcept = default;
Journal::~Journal() = default;

Result<Journal> Journal::open(const std::string& file) {
  std::error_code code;
  const fs::path folder = fs::path(file).parent_path();
  if (fs::is_directory(file, code)) return fail("{}: is a folder, expected the journal's file", file);
  if (!folder.empty() && !fs::is_directory(folder, code)) return fail("{}: its folder does not exist", file);
  try {
    auto state = std::make_unique<State>(file);
    SQLite::Database& db = state->db;
    int application = 0, version = 0, tables = 0;
    try {
      application = db.execAndGet("PRAGMA application_id").getInt();
      version = db.execAndGet("PRAGMA user_version").getInt();
      tables = db.execAndGet("SELECT count(*) FROM sqlite_master").getInt();
    } catch (const SQLite::Exception& e) {
      return fail("{}: is not a journal: {}", file, e.what());
    }
    if (tables > 0 && application != kApplication) return fail("{}: is another program's file, not a journal", file);
    if (version > static_cast<int>(steps().size()))
      return fail("{}: was made by a newer version of this program (journal {}, this one knows {})", file, version,
                  steps().size());
    db.exec("PRAGMA journal_mode = WAL");
    db.exec("PRAGMA synchronous = FULL");
    db.exec("PRAGMA foreign_keys = ON");
    state->bring_up_to_date();
    return Journal(std::move(state));
  } catch (const std::exception& e) {
    return fail("{}: {}", file, e.what());
  }
}

int Journal::version() const { return state_->db.execAndGet("PRAGMA user_version").getInt(); }

Result<std::string> Journal::integrity() const {
  return state_->guarded([&]() -> Result<std::string> {
    std::string said = state_->db.execAndGet("PRAGMA integrity_check").getString();
    SQLite::Statement q(state_->db, "PRAGMA foreign_key_check");
    if (q.executeStep()) said += "; a row points to nothing in " + q.getColumn(0).getString();
    return said;
  });
}

Result<int> Journal::add(const practice::Session& s, std::span<const std::string> players,
                         std::span<const std::optional<practice::Setup>> setups) {
  return state_->guarded([&]() -> Result<int> {
    SQLite::Database& db = state_->db;
    SQLite::Transaction all(db, SQLite::TransactionBehavior::IMMEDIATE);
    const std::string recording = recording_of(s);
    std::map<int, std::optional<int>> was;  // players by attempt's number
    int id = 0;
    {
      SQLite::Statement q(db, "SELECT id FROM sessions WHERE recording = ?");
      q.bind(1, recording);
      if (q.executeStep()) id = q.getColumn(0).getInt();
    }
    if (id > 0) {
      SQLite::Statement q(db, "SELECT number, player_id FROM attempts WHERE session_id = ?");
      q.bind(1, id);
      while (q.executeStep())
        if (!q.getColumn(1).isNull()) was[q.getColumn(0).getInt()] = q.getColumn(1).getInt();
      SQLite::Statement away(db, "DELETE FROM attempts WHERE session_id = ?");
      away.bind(1, id);
      away.exec();
      SQLite::Statement now(db, "UPDATE sessions SET complete = ?, attempts = ?, table_id = ? WHERE id = ?");
      now.bind(1, s.complete ? 1 : 0);
      now.bind(2, static_cast<int>(s.attempts.size()));
      now.bind(3, state_->table(s));
      now.bind(4, id);
      now.exec();
    } else {
      SQLite::Statement q(db,
                          "INSERT INTO sessions (recording, clip, complete, attempts, table_id, recorded) "
                          "VALUES (?, ?, ?, ?, ?, ?)");
      q.bind(1, recording);
      q.bind(2, s.clip.file);
      q.bind(3, s.complete ? 1 : 0);
      q.bind(4, static_cast<int>(s.attempts.size()));
      q.bind(5, state_->table(s));
      q.bind(6, date_of(s.clip.file));
      q.exec();
      id = static_cast<int>(db.getLastInsertRowid());
    }
    SQLite::Statement put(
        db,
        "INSERT INTO attempts (session_id, number, setup_id, player_id, strike_time, ended, pot, hit, in_off, points, "
        "of, rest_x, rest_y, from_mark, along, across, pace, direction, white_placed_off, tip_right, tip_right_u, "
        "tip_height, tip_height_u) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
    SQLite::Statement put_path(db, "INSERT INTO paths (attempt_id, ball, rows) VALUES (?, ?, ?)");
    for (std::size_t i = 0; i < s.attempts.size(); ++i) {
      const practice::Attempt& a = s.attempts[i];
      const practice::Group* group = s.group(a.group);
      const auto k = static_cast<std::size_t>(a.group) - 1;
      const practice::Setup* setup = k < setups.size() && setups[k] ? &*setups[k] : nullptr;
      std::optional<int> setup_id, player_id;
      if (group && group->setup) setup_id = state_->setup(group->setup->second, group->setup->first);
      if (!players.empty())
        player_id = state_->player(players[i % players.size()]);
      else if (const auto it = was.find(a.number); it != was.end())
        player_id = it->second;
      const auto rest = practice::rest_of(a);
      std::optional<double> x, y, from_mark, along, across, off;
      if (rest) x = rest->place.at.x(), y = rest->place.at.y();
      if (setup) {
        if (rest && setup->goal && setup->goal->zone) from_mark = (rest->place.at - setup->goal->zone->middle()).norm();
        if (const auto stop = practice::stop_beside(a, *setup)) along = stop->along, across = stop->across;
      }
      if (const auto it = a.off_group.find("white"); it != a.off_group.end()) off = it->second.norm();
      static constexpr const char* kEnds[] = {"rest", "hand", "clip"};
      put.reset();
      put.bind(1, id);
      put.bind(2, a.number);
      bind_id(put, 3, setup_id);
      bind_id(put, 4, player_id);
      put.bind(5, a.strike_time);
      put.bind(6, kEnds[static_cast<int>(a.ended)]);
      bind_to(put, 7, a.pot_made);
      bind_to(put, 8, practice::is_hit(a));
      put.bind(9, a.in_off ? 1 : 0);
      bind_to(put, 10, a.score ? std::optional(a.score->points) : std::nullopt);
      bind_to(put, 11, a.score ? std::optional(a.score->of) : std::nullopt);
      bind_to(put, 12, x);
      bind_to(put, 13, y);
      bind_to(put, 14, from_mark);
      bind_to(put, 15, along);
      bind_to(put, 16, across);
      bind_to(put, 17, a.strike && a.strike->speed_told() ? std::optional(a.strike->speed) : std::nullopt);
      bind_to(put, 18, a.strike ? std::optional(a.strike->heading) : std::nullopt);
      bind_to(put, 19, off);
      const auto tip = [&](const std::optional<double>& value, const char* name, int at) {
        const bool told = value && a.strike->u.contains(name);
        bind_to(put, at, told ? value : std::nullopt);
        bind_to(put, at + 1, told ? std::optional(a.strike->u.at(name)) : std::nullopt);
      };
      tip(a.strike ? a.strike->right : std::nullopt, "right", 20);
      tip(a.strike ? a.strike->height : std::nullopt, "height", 22);
      put.exec();
      const auto attempt = static_cast<int>(db.getLastInsertRowid());
      for (const auto& [ball, path] : a.balls) {
        const std::string bytes = packed(path.rows, a.strike_time);
        put_path.reset();
        put_path.bind(1, attempt);
        put_path.bind(2, ball);
        put_path.bind(3, bytes.data(), static_cast<int>(bytes.size()));
        put_path.exec();
      }
    }
    all.commit();
    return id;
  });
}

Result<std::vector<SessionRow>> Journal::sessions() const {
  return state_->guarded([&]() -> Result<std::vector<SessionRow>> {
    std::vector<SessionRow> out;
    SQLite::Statement q(state_->db, R"sql(
      SELECT s.id, s.recorded, s.clip, count(a.id), coalesce(sum(a.pot), 0), count(a.pot), coalesce(sum(a.hit), 0),
             count(a.hit),
             coalesce((SELECT group_concat(title, ', ') FROM (SELECT DISTINCT t.title FROM setups t JOIN attempts b
               ON b.setup_id = t.id WHERE b.session_id = s.id ORDER BY t.title)), ''),
             coalesce((SELECT group_concat(name, ', ') FROM (SELECT DISTINCT p.name FROM players p JOIN attempts b
               ON b.player_id = p.id WHERE b.session_id = s.id ORDER BY p.name)), '')
      FROM sessions s LEFT JOIN attempts a ON a.session_id = s.id GROUP BY s.id ORDER BY s.recorded, s.id)sql");
    while (q.executeStep())
      out.push_back({q.getColumn(0).getInt(), q.getColumn(1).getString(), q.getColumn(2).getString(),
                     q.getColumn(3).getInt(), q.getColumn(4).getInt(), q.getColumn(5).getInt(), q.getColumn(6).getInt(),
                     q.getColumn(7).getInt(), q.getColumn(8).getString(), q.getColumn(9).getString()});
    return out;
  });
}

Result<std::vector<AttemptRow>> Journal::attempts(const Filter& f) const {
  return state_->guarded([&]() -> Result<std::vector<AttemptRow>> {
    std::string sql =
        "SELECT a.session_id, a.number, s.recorded, coalesce(t.title, ''), coalesce(p.name, ''), a.strike_time, "
        "a.ended, a.pot, a.hit, a.in_off, a.points, a.of, a.from_mark, a.along, a.across, a.pace, a.direction, "
        "a.white_placed_off, a.rest_x, a.rest_y, a.tip_right, a.tip_right_u, a.tip_height, a.tip_height_u FROM "
        "attempts a JOIN sessions s ON s.id = a.session_id "
        "LEFT JOIN setups t ON t.id = a.setup_id LEFT JOIN players p ON p.id = a.player_id WHERE 1";
    if (!f.setup.empty()) sql += " AND a.setup_id = (SELECT id FROM setups WHERE title = :setup)";
    if (!f.player.empty()) sql += " AND a.player_id = (SELECT id FROM players WHERE name = :player)";
    if (f.session) sql += " AND a.session_id = :session";
    SQLite::Statement q(state_->db, sql + " ORDER BY s.recorded, a.session_id, a.number");
    if (!f.setup.empty()) q.bind(":setup", f.setup);
    if (!f.player.empty()) q.bind(":player", f.player);
    if (f.session) q.bind(":session", *f.session);
    std::vector<AttemptRow> out;
    while (q.executeStep()) {
      AttemptRow r;
      r.session = q.getColumn(0).getInt();
      r.number = q.getColumn(1).getInt();
      r.recorded = q.getColumn(2).getString();
      r.setup = q.getColumn(3).getString();
      r.player = q.getColumn(4).getString();
      r.strike_time = q.getColumn(5).getDouble();
      r.ended = q.getColumn(6).getString();
      r.pot = flag(q.getColumn(7));
      r.hit = flag(q.getColumn(8));
      r.in_off = flag(q.getColumn(9));
      r.points = number(q.getColumn(10));
      r.of = number(q.getColumn(11));
      r.from_mark = number(q.getColumn(12));
      r.along = number(q.getColumn(13));
      r.across = number(q.getColumn(14));
      r.pace = number(q.getColumn(15));
      r.direction = number(q.getColumn(16));
      r.white_placed_off = number(q.getColumn(17));
      if (!q.getColumn(18).isNull()) r.rest = Vec2(q.getColumn(18).getDouble(), q.getColumn(19).getDouble());
      r.tip_right = number(q.getColumn(20));
      r.u_tip_right = number(q.getColumn(21));
      r.tip_height = number(q.getColumn(22));
      r.u_tip_height = number(q.getColumn(23));
      out.push_back(std::move(r));
    }
    return out;
  });
}

Result<std::vector<PathRow>> Journal::path(int session, int attempt, const std::string& ball) const {
  return state_->guarded([&]() -> Result<std::vector<PathRow>> {
    SQLite::Statement q(state_->db,
                        "SELECT p.rows, a.strike_time FROM paths p JOIN attempts a ON a.id = p.attempt_id "
                        "WHERE a.session_id = ? AND a.number = ? AND p.ball = ?");
    q.bind(1, session);
    q.bind(2, attempt);
    q.bind(3, ball);
    std::vector<PathRow> out;
    if (!q.executeStep()) return out;
    const SQLite::Column blob = q.getColumn(0);
    std::vector<float> v(static_cast<std::size_t>(blob.getBytes()) / sizeof(float));
    if (!v.empty()) std::memcpy(v.data(), blob.getBlob(), v.size() * sizeof(float));
    const double strike = q.getColumn(1).getDouble();
    for (std::size_t i = 0; i + 2 < v.size(); i += 3)
      out.push_back(
          {strike + static_cast<double>(v[i]), {static_cast<double>(v[i + 1]), static_cast<double>(v[i + 2])}});
    return out;
  });
}

Result<int> Journal::assign(int session, const std::string& player, std::span<const int> numbers) {
  return state_->guarded([&]() -> Result<int> {
    SQLite::Database& db = state_->db;
    SQLite::Transaction all(db, SQLite::TransactionBehavior::IMMEDIATE);
    SQLite::Statement there(db, "SELECT 1 FROM sessions WHERE id = ?");
    there.bind(1, session);
    if (!there.executeStep()) return fail("{}: holds no session {}", state_->file, session);
    const int id = state_->player(player);
    int changed = 0;
    if (numbers.empty()) {
      SQLite::Statement q(db, "UPDATE attempts SET player_id = ? WHERE session_id = ?");
      q.bind(1, id);
      q.bind(2, session);
      changed = q.exec();
    }
    for (const int n : numbers) {
      SQLite::Statement q(db, "UPDATE attempts SET player_id = ? WHERE session_id = ? AND number = ?");
      q.bind(1, id);
      q.bind(2, session);
      q.bind(3, n);
      if (q.exec() == 0) return fail("{}: session {} has no attempt {}", state_->file, session, n);
      ++changed;
    }
    all.commit();
    return changed;
  });
}

Result<std::string> Journal::csv(const Filter& filter) const {
  const auto rows = attempts(filter);
  if (!rows) return pass_on(rows);
  std::string out =
      "session,recorded,attempt,setup,player,strike_time_s,ended,pot,hit,in_off,points,of,rest_x_m,rest_y_m,"
      "from_mark_m,along_m,across_m,pace_m_s,heading_rad,white_placed_off_m,tip_right_radii,tip_height_radii\r\n";
  const auto real = [](const std::optional<double>& v) { return v ? fmt::format("{:.6g}", *v) : std::string(); };
  const auto word = [](const std::optional<bool>& v) { return v ? std::string(*v ? "1" : "0") : std::string(); };
  for (const AttemptRow& r : *rows)
    out +=
        fmt::format("{},{},{},{},{},{:.4f},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{}\r\n", r.session, r.recorded,
                    r.number, quoted(r.setup), quoted(r.player), r.strike_time, r.ended, word(r.pot), word(r.hit),
                    word(r.in_off), real(r.points), real(r.of), r.rest ? fmt::format("{:.5f}", r.rest->x()) : "",
                    r.rest ? fmt::format("{:.5f}", r.rest->y()) : "", real(r.from_mark), real(r.along), real(r.across),
                    real(r.pace), real(r.direction), real(r.white_placed_off), real(r.tip_right), real(r.tip_height));
  return out;
}

Result<Done> Journal::backup(const std::string& to) const {
  std::error_code code;
  if (fs::exists(to, code)) return fail("{}: exists already, expected a new file", to);
  return state_->guarded([&]() -> Result<Done> {
    const std::string part = to + ".part";
    fs::remove(part, code);
    {
      SQLite::Database copy(part, SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
      SQLite::Backup work(copy, state_->db);
      work.executeStep();
    }
    fs::rename(part, to, code);
    if (code) return fail("{}: {}", to, code.message());
    return Done{};
  });
}

}  // namespace baizetrace::journal
