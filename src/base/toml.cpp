#include "base/toml.hpp"

#include <toml++/toml.h>
#include <algorithm>

#include "base/files.hpp"

namespace baizetrace {

namespace {
struct Document {
  std::string file;
  toml::table root;
  std::optional<std::string> first_fault;
};
}  // namespace

struct TomlTable::Node {
  std::shared_ptr<Document> document;
  const toml::table* table = nullptr;
  std::string path;                // "shot." or ""
  std::vector<std::string> asked;  // keys that the reader knows
  std::vector<std::shared_ptr<Node>> below;

  const toml::node* find(std::string_view key) {
    asked.emplace_back(key);
    return table->get(key);
  }
  void fault_at(const toml::node* where, std::string_view key, const std::string& why) {
    if (document->first_fault) return;
    const toml::source_position p = where ? where->source().begin : table->source().begin;
    const std::string name = key.empty() ? std::string() : fmt::format("{}{}: ", path, key);
    document->first_fault = fmt::format("{}:{}:{}: {}{}", document->file, p.line, p.column, name, why);
  }
  std::optional<double> as_number(const toml::node* n, std::string_view key) {
    if (!n) return std::nullopt;
    if (n->is_number()) return n->value<double>();
    fault_at(n, key, "expected a number");
    return std::nullopt;
  }
  std::optional<std::vector<double>> as_numbers(const toml::node* n, std::string_view key) {
    if (!n) return std::nullopt;
    const toml::array* a = n->as_array();
    if (!a) {
      fault_at(n, key, "expected numbers in brackets");
      return std::nullopt;
    }
    std::vector<double> out;
    for (const toml::node& e : *a) {
      if (!e.is_number()) {
        fault_at(&e, key, "expected numbers in brackets");
        return std::nullopt;
      }
      out.push_back(*e.value<double>());
    }
    return out;
  }
  std::optional<std::vector<std::string>> as_words(const toml::node* n, std::string_view key) {
    if (!n) return std::nullopt;
    const toml::array* a = n->as_array();
    if (!a) {
      fault_at(n, key, "expected words in brackets");
      return std::nullopt;
    }
    std::vector<std::string> out;
    for (const toml::node& e : *a) {
      if (!e.is_string()) {
        fault_at(&e, key, "expected words in brackets");
        return std::nullopt;
      }
      out.push_back(*e.value<std::string>());
    }
    return out;
  }
};

std::string nearest_word(std::string_view word, const std::vector<std::string>& valid) {
  std::string best;
  std::size_t best_distance = std::max<std::size_t>(2, word.size() / 2) + 1;
  for (const std::string& other : valid) {
    std::vector<std::size_t> row(other.size() + 1);
    for (std::size_t j = 0; j <= other.size(); ++j) row[j] = j;
    for (std::size_t i = 1; i <= word.size(); ++i) {
      std::size_t diagonal = row[0];
      row[0] = i;
      for (std::size_t j = 1; j <= other.size(); ++j) {
        const std::size_t up = row[j];
        row[j] = std::min({row[j] + 1, row[j - 1] + 1, diagonal + (word[i - 1] == other[j - 1] ? 0 : 1)});
        diagonal = up;
      }
    }
    if (row.back() < best_distance) {
      best_distance = row.back();
      best = other;
    }
  }
  return best;
}

Result<TomlTable> TomlTable::read(const std::string& file, std::string_view kind) {
  const auto text = read_text(file);
  if (!text) return pass_on(text);
  return parse(*text, file, kind);
}

Result<TomlTable> TomlTable::parse(std::string_view text, const std::string& name, std::string_view kind) {
  auto document = std::make_shared<Document>();
  document->file = name;
  try {
    document->root = toml::parse(text, name);
  } catch (const toml::parse_error& e) {
    return fail("{}:{}:{}: {}", name, e.source().begin.line, e.source().begin.column, std::string(e.description()));
  }
  auto node = std::make_shared<Node>();
  node->document = document;
  node->table = &document->root;
  TomlTable table(node);
  const std::string expected = fmt::format("baizetrace/{}-1", kind);
  const auto format = table.maybe_text("format");
  if (!format) return fail("{}:1:1: expected the line format = \"{}\"", name, expected);
  if (*format != expected) {
    const toml::source_position at = document->root.get("format")->source().begin;
    return fail("{}:{}:{}: format is \"{}\", expected \"{}\"", name, at.line, at.column, *format, expected);
  }
  return table;
}

std::optional<double> TomlTable::maybe_number(std::string_view key) { return node_->as_number(node_->find(key), key); }
double TomlTable::number(std::string_view key) {
  const toml::node* n = node_->find(key);
  if (!n) fault(key, "is missing, expected a number");
  return node_->as_number(n, key).value_or(0.0);
}
double TomlTable::number(std::string_view key, double fallback) { return maybe_number(key).value_or(fallback); }

std::optional<std::string> TomlTable::maybe_text(std::string_view key) {
  const toml::node* n = node_->find(key);
  if (!n) return std::nullopt;
  if (!n->is_string()) {
    node_->fault_at(n, key, "expected text in quotes");
    return std::nullopt;
  }
  return n->value<std::string>();
}
std::string TomlTable::text(std::string_view key) {
  auto t = maybe_text(key);
  if (!t && !has(key)) fault(key, "is missing, expected text in quotes");
  return t.value_or("");
}
std::optional<bool> TomlTable::maybe_flag(std::string_view key) {
  const toml::node* n = node_->find(key);
  if (!n) return std::nullopt;
  if (!n->is_boolean()) {
    node_->fault_at(n, key, "expected true or false");
    return std::nullopt;
  }
  return n->value<bool>();
}
std::optional<Vec2> TomlTable::maybe_point(std::string_view key) {
  const toml::node* n = node_->find(key);
  const auto v = node_->as_numbers(n, key);
  if (!v) return std::nullopt;
  if (v->size() != 2) {
    node_->fault_at(n, key, fmt::format("expected [x, y], found {} numbers", v->size()));
    return std::nullopt;
  }
  return Vec2((*v)[0], (*v)[1]);
}
Vec2 TomlTable::point(std::string_view key) {
  if (!has(key)) fault(key, "is missing, expected [x, y]");
  return maybe_point(key).value_or(Vec2::Zero());
}
std::optional<std::vector<double>> TomlTable::maybe_numbers(std::string_view key) {
  return node_->as_numbers(node_->find(key), key);
}
std::optional<std::vector<Vec2>> TomlTable::maybe_points(std::string_view key) {
  const toml::node* n = node_->find(key);
  if (!n) return std::nullopt;
  std::vector<Vec2> out;
  const toml::array* a = n->as_array();
  if (!a) {
    node_->fault_at(n, key, "expected [[x, y], ...]");
    return std::nullopt;
  }
  for (const toml::node& e : *a) {
    const auto v = node_->as_numbers(&e, key);
    if (!v) return std::nullopt;
    if (v->size() != 2) {
      node_->fault_at(&e, key, "expected [x, y] in each row");
      return std::nullopt;
    }
    out.emplace_back((*v)[0], (*v)[1]);
  }
  return out;
}
std::optional<std::vector<std::string>> TomlTable::maybe_words(std::string_view key) {
  return node_->as_words(node_->find(key), key);
}
std::optional<std::vector<std::vector<std::string>>> TomlTable::maybe_rows_of_words(std::string_view key) {
  const toml::node* n = node_->find(key);
  if (!n) return std::nullopt;
  const toml::array* a = n->as_array();
  if (!a) {
    node_->fault_at(n, key, "expected rows of words, [[\"a\", \"b\"], ...]");
    return std::nullopt;
  }
  std::vector<std::vector<std::string>> out;
  for (const toml::node& e : *a) {
    auto words = node_->as_words(&e, key);
    if (!words) return std::nullopt;
    out.push_back(std::move(*words));
  }
  return out;
}

std::optional<TomlTable> TomlTable::maybe_table(std::string_view key) {
  const toml::node* n = node_->find(key);
  if (!n) return std::nullopt;
  const toml::table* t = n->as_table();
  if (!t) {
    node_->fault_at(n, key, "expected a table");
    return std::nullopt;
  }
  auto child = std::make_shared<Node>();
  child->document = node_->document;
  child->table = t;
  child->path = fmt::format("{}{}.", node_->path, key);
  node_->below.push_back(child);
  return TomlTable(child);
}

std::vector<TomlTable> TomlTable::tables(std::string_view key) {
  std::vector<TomlTable> out;
  const toml::node* n = node_->find(key);
  if (!n) return out;
  const toml::array* a = n->as_array();
  if (!a || !a->is_homogeneous(toml::node_type::table)) {
    node_->fault_at(n, key, fmt::format("expected tables, [[{}]]", key));
    return out;
  }
  for (const toml::node& e : *a) {
    auto child = std::make_shared<Node>();
    child->document = node_->document;
    child->table = e.as_table();
    child->path = fmt::format("{}{}.", node_->path, key);
    node_->below.push_back(child);
    out.push_back(TomlTable(child));
  }
  return out;
}

bool TomlTable::has(std::string_view key) const { return node_->table->contains(key); }
bool TomlTable::is_text(std::string_view key) const {
  const toml::node* n = node_->table->get(key);
  return n && n->is_string();
}

std::vector<std::string> TomlTable::keys() const {
  std::vector<std::pair<toml::source_position, std::string>> found;
  for (const auto& [k, v] : *node_->table) found.emplace_back(k.source().begin, std::string(k.str()));
  std::sort(found.begin(), found.end(), [](const auto& a, const auto& b) {
    return std::pair(a.first.line, a.first.column) < std::pair(b.first.line, b.first.column);
  });
  std::vector<std::string> out;
  for (auto& [p, k] : found) out.push_back(std::move(k));
  return out;
}

void TomlTable::fault(std::string_view key, const std::string& why) {
  node_->fault_at(node_->table->get(key), key, why);
}

namespace {
// The first key that nobody asked for, as one line; with `only_near`, only one that looks like a slip of the pen.
std::optional<std::string> unknown_key(const TomlTable::Node& node, bool only_near) {
  for (const auto& [k, v] : *node.table) {
    const std::string key(k.str());
    if (std::find(node.asked.begin(), node.asked.end(), key) != node.asked.end()) continue;
    const std::string near = nearest_word(key, node.asked);
    if (only_near && near.empty()) continue;
    const toml::source_position p = k.source().begin;
    return fmt::format("{}:{}:{}: unknown key \"{}{}\"{}", node.document->file, p.line, p.column, node.path, key,
                       near.empty() ? std::string() : fmt::format(", did you mean \"{}{}\"?", node.path, near));
  }
  for (const auto& child : node.below)
    if (auto found = unknown_key(*child, only_near)) return found;
  return std::nullopt;
}
}  // namespace

Result<Done> TomlTable::finish() const {
  // A misspelt key explains what is missed elsewhere: it is told first.
  const bool faulty = node_->document->first_fault.has_value();
  if (const auto unknown = unknown_key(*node_, faulty)) return tl::make_unexpected(Error{*unknown});
  if (faulty) return tl::make_unexpected(Error{*node_->document->first_fault});
  return Done{};
}

}  // namespace baizetrace
