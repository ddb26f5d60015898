// Strict reading of the TOML files that people write.
//
// Every key must be asked for: finish() rejects what nobody asked for, with file, line, column and the nearest valid
// key. The first fault is kept and later reads return defaults, so that a reader is written without ifs and checked
// once. Angles in these files are degrees and say so in the key.
#pragma once

#include <Eigen/Core>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "base/units.hpp"

namespace baizetrace {

class TomlTable {
 public:
  // Reads and parses a file and checks `format = "baizetrace/<kind>-1"`.
  static Result<TomlTable> read(const std::string& file, std::string_view kind);
  static Result<TomlTable> parse(std::string_view text, const std::string& name, std::string_view kind);

  // One value. Absent and not optional, or of another type: a fault.
  double number(std::string_view key);
  double number(std::string_view key, double fallback);
  std::optional<double> maybe_number(std::string_view key);
  std::string text(std::string_view key);
  std::optional<std::string> maybe_text(std::string_view key);
  std::optional<bool> maybe_flag(std::string_view key);
  Vec2 point(std::string_view key);
  std::optional<Vec2> maybe_point(std::string_view key);
  // Numbers in a row; rows of numbers; words; rows of words.
  std::optional<std::vector<double>> maybe_numbers(std::string_view key);
  std::optional<std::vector<Vec2>> maybe_points(std::string_view key);
  std::optional<std::vector<std::string>> maybe_words(std::string_view key);
  std::optional<std::vector<std::vector<std::string>>> maybe_rows_of_words(std::string_view key);

  // A table below this one; its faults are this one's. Absent: nullopt.
  std::optional<TomlTable> maybe_table(std::string_view key);
  // Tables of an array [[key]]; empty when absent.
  std::vector<TomlTable> tables(std::string_view key);

  [[nodiscard]] bool has(std::string_view key) const;
  // The keys in the file's order (for tables whose keys are names, such as [balls]).
  [[nodiscard]] std::vector<std::string> keys() const;
  [[nodiscard]] bool is_text(std::string_view key) const;

  // Adds a fault at a key: "file:line:column: key: why".
  void fault(std::string_view key, const std::string& why);
  // The first fault of this table and of those below it, or a key that nobody asked for.
  [[nodiscard]] Result<Done> finish() const;

  struct Node;  // defined in toml.cpp

 private:
  explicit TomlTable(std::shared_ptr<Node> node) : node_(std::move(node)) {}
  std::shared_ptr<Node> node_;  // shared: a table's parts report into the whole file's first fault
};

// The name in `valid` nearest to `word` (edit distance), or empty if none is near.
[[nodiscard]] std::string nearest_word(std::string_view word, const std::vector<std::string>& valid);

}  // namespace baizetrace
