// What the grammar's own lexer cannot tell, since it takes looking ahead.
//
// A line's end ends its statement unless the next line goes on from it. The first word of a statement is a word of the
// language or a name by what follows it. And some things are never read otherwise, whatever is expected where they stand:
// `--`, a text without its closing quote, `4,7`.
//
// First words are tokens of their own, so a parser that lost its way finds it again at the end of the line, not before.

#include "tree_sitter/alloc.h"
#include "tree_sitter/parser.h"

#include <string.h>

// In the order of `externals` in grammar.js; behind these stand `FIRST_WORDS`, then `LATER_WORDS`.
enum Token {
  LINE_END,
  CONTINUATION,
  WIRE,
  OPEN_TEXT,
  DECIMAL_COMMA,
  DESCRIPTION,
  UNREAD,
  FIRST_NAME,
  FIRST_DOTTED,
  FIRST_SWITCH,
  HELD_SOURCE,
  PROPERTY_WORD,
  EQUATION_NAME,
  EQUATION_DOTTED,
  FIRST_WORD,
};

// First words of statements. The first six open a body, close the one that is open, or end it; the first four want a name
// or a text.
static const char *const FIRST_WORDS[] = {
    "use",     "part",    "block",  "circuit", "work", "end",  "ampersum", "source", "let",    "supply",   "opamps",
    "start",   "expect",  "problem", "ask",    "answer", "find", "vary",   "require", "record", "response", "allow",
};
enum { CIRCUIT = 3, BODIES = 6, SOURCE = 7, LET = 8, SUPPLY = 9, ALLOW = 21, FIRST_WORD_COUNT = 22 };

// Words that may stand where an operand may.
static const char *const LATER_WORDS[] = {"sine", "square", "triangle", "step", "through", "finding", "always"};
enum { FINDING = 5, ALWAYS = 6, LATER_WORD_COUNT = 7, LATER_WORD = FIRST_WORD + FIRST_WORD_COUNT };

// Longer than every word.
enum { WORD_SIZE = 16 };

// A line's end changes the state each time. So the parser never drops one while it recovers from an error.
typedef struct {
  uint8_t odd;
  // The end of the text was told.
  uint8_t ended;
  // How many more line ends, behind comments and in empty lines, end or go on as the last one did.
  uint8_t alike;
  uint8_t go_on;
  // `BARE` behind such a word that stands alone, `BARE_READ` once its line's end was read.
  uint8_t bare;
} State;

void *tree_sitter_ampersum_external_scanner_create(void) { return ts_calloc(1, sizeof(State)); }

void tree_sitter_ampersum_external_scanner_destroy(void *payload) { ts_free(payload); }

unsigned tree_sitter_ampersum_external_scanner_serialize(void *payload, char *buffer) {
  memcpy(buffer, payload, sizeof(State));
  return sizeof(State);
}

void tree_sitter_ampersum_external_scanner_deserialize(void *payload, const char *buffer, unsigned length) {
  memset(payload, 0, sizeof(State));
  if (length == sizeof(State)) memcpy(payload, buffer, length);
}

enum { BARE = 1, BARE_READ = 2 };

static bool is_space(int32_t c) { return c == ' ' || c == '\t' || c == '\r' || c == 0xA0 || c == 0x202F; }

static bool is_minus(int32_t c) { return c == '-' || c == 0x2212; }

static bool is_digit(int32_t c) { return c >= '0' && c <= '9'; }

// Whether a name may begin so. Beyond ASCII these are the letters of scripts in use, without signs and punctuation.
static bool begins_name(int32_t c) {
  if (c < 0x80) return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
  if (c < 0xC0) return c == 0xAA || c == 0xB5 || c == 0xBA;
  return c != 0xD7 && c != 0xF7 && !(c >= 0x300 && c < 0x370) && !(c >= 0x2000 && c < 0x2071) &&
         !(c >= 0x20A0 && c < 0x2102) && !(c >= 0x2190 && c < 0x2C00) && !(c >= 0x2E00 && c < 0x3005) && c < 0xE000;
}

static bool continues_name(int32_t c) {
  return begins_name(c) || is_digit(c) || c == 0xB7 || (c >= 0x300 && c < 0x370);
}

static void advance(TSLexer *lexer) { lexer->advance(lexer, false); }

static void skip_spaces(TSLexer *lexer) {
  while (is_space(lexer->lookahead)) advance(lexer);
}

static void skip_comment(TSLexer *lexer) {
  while (lexer->lookahead != '\n' && !lexer->eof(lexer)) advance(lexer);
}

static bool found(TSLexer *lexer, unsigned token) {
  lexer->result_symbol = (TSSymbol)token;
  return true;
}

// Whether the next line that is no comment begins with `--`, a comma or a text. Reads up to its last sign, and counts the
// line ends before it, at most as many as the state can hold.
static bool goes_on(TSLexer *lexer, uint8_t *line_ends) {
  for (;;) {
    if (lexer->lookahead == '\n') {
      if (*line_ends == UINT8_MAX) return false;
      ++*line_ends;
      advance(lexer);
    } else if (is_space(lexer->lookahead)) {
      advance(lexer);
    } else if (lexer->lookahead == '#') {
      skip_comment(lexer);
    } else {
      break;
    }
  }
  if (is_minus(lexer->lookahead)) {
    advance(lexer);
    return is_minus(lexer->lookahead);
  }
  return lexer->lookahead == ',' || lexer->lookahead == '"';
}

// Reads a name and keeps its beginning; what is no letter of ASCII becomes a sign that is in no word.
static void read_name(TSLexer *lexer, char word[WORD_SIZE]) {
  unsigned length = 0;
  while (continues_name(lexer->lookahead)) {
    if (length < WORD_SIZE - 1) word[length++] = lexer->lookahead < 0x80 ? (char)lexer->lookahead : '?';
    advance(lexer);
  }
  word[length] = 0;
}

// The place of a word in a table, or -1.
static int place_of(const char *word, const char *const *words, int count) {
  for (int place = 0; place < count; place++) {
    if (strcmp(word, words[place]) == 0) return place;
  }
  return -1;
}

static bool is_operator(int32_t c) { return c != 0 && c < 0x80 && strchr("+*/^=<>,", c); }

// To the next token of the statement; false at its end.
static bool to_next(TSLexer *lexer) {
  skip_spaces(lexer);
  if (lexer->lookahead == '#') skip_comment(lexer);
  uint8_t line_ends = 0;
  if (lexer->lookahead == '\n') return goes_on(lexer, &line_ends);
  return !lexer->eof(lexer);
}

// What follows the first word of a line.
enum Next {
  // `--`
  A_WIRE,
  // A sign behind which the word can only be an operand.
  AN_OPERATOR,
  // A name and a colon.
  A_NAME_AND_COLON,
  NOTHING,
  ANYTHING_ELSE,
};

static enum Next next(TSLexer *lexer) {
  if (lexer->lookahead == '(') return AN_OPERATOR;
  skip_spaces(lexer);
  bool line_ends = lexer->lookahead == '\n' || lexer->lookahead == '#';
  if (!to_next(lexer)) return NOTHING;
  if (is_minus(lexer->lookahead)) {
    // Where the line goes on in the next, its first dash was read already.
    if (line_ends) return A_WIRE;
    advance(lexer);
    return is_minus(lexer->lookahead) ? A_WIRE : AN_OPERATOR;
  }
  if (begins_name(lexer->lookahead)) {
    while (continues_name(lexer->lookahead)) advance(lexer);
    skip_spaces(lexer);
    return lexer->lookahead == ':' ? A_NAME_AND_COLON : ANYTHING_ELSE;
  }
  return is_operator(lexer->lookahead) ? AN_OPERATOR : ANYTHING_ELSE;
}

// Whether an equals sign stands in what is left of the statement.
static bool equals_follows(TSLexer *lexer) {
  while (to_next(lexer)) {
    int32_t sign = lexer->lookahead;
    if (sign == '=') return true;
    advance(lexer);
    if (sign == '"') {
      while (lexer->lookahead != '"' && lexer->lookahead != '\n' && !lexer->eof(lexer)) advance(lexer);
      if (lexer->lookahead == '"') advance(lexer);
    }
    if ((sign == '<' || sign == '>') && lexer->lookahead == '=') advance(lexer);
  }
  return false;
}

// The first word of a statement: which one it is, its second and third token tell.
static bool first_word(State *state, TSLexer *lexer, const bool *valid) {
  char text[WORD_SIZE];
  bool dotted = false;
  read_name(lexer, text);
  lexer->mark_end(lexer);
  while (lexer->lookahead == '.') {
    advance(lexer);
    if (!begins_name(lexer->lookahead)) break;
    dotted = true;
    while (continues_name(lexer->lookahead)) advance(lexer);
    lexer->mark_end(lexer);
  }
  enum Next following = next(lexer);
  if (dotted) return found(lexer, valid[EQUATION_DOTTED] && following != A_WIRE ? EQUATION_DOTTED : FIRST_DOTTED);
  int word = place_of(text, FIRST_WORDS, FIRST_WORD_COUNT);
  bool is_operand = following == A_WIRE || following == AN_OPERATOR;
  if (word >= 0 && word < BODIES && !is_operand) {
    if (following == NOTHING && word <= CIRCUIT) state->bare = BARE;
    return found(lexer, FIRST_WORD + (unsigned)word);
  }
  if (following == A_WIRE) return found(lexer, FIRST_NAME);
  if (following == A_NAME_AND_COLON && word != SOURCE && word != ALLOW && word != LET) {
    return found(lexer, strcmp(text, "switch") == 0 ? FIRST_SWITCH : FIRST_NAME);
  }
  bool may_be_word = word >= BODIES;
  if (valid[PROPERTY_WORD]) {
    may_be_word = may_be_word && word != LET && word != SUPPLY && (word != SOURCE || following == A_NAME_AND_COLON);
    if (!may_be_word) return found(lexer, PROPERTY_WORD);
  } else if (valid[EQUATION_NAME] && (!may_be_word || is_operand)) {
    return found(lexer, EQUATION_NAME);
  }
  if (!may_be_word) return found(lexer, FIRST_NAME);
  if (word == SOURCE && equals_follows(lexer)) return found(lexer, HELD_SOURCE);
  return found(lexer, FIRST_WORD + (unsigned)word);
}

// A word where an operand might stand too: a wave, unless what follows makes it a node; a claim's first word.
static bool later_word(TSLexer *lexer, const bool *valid) {
  char text[WORD_SIZE];
  read_name(lexer, text);
  int word = place_of(text, LATER_WORDS, LATER_WORD_COUNT);
  if (word < 0 || !valid[LATER_WORD + word]) return false;
  lexer->mark_end(lexer);
  if (lexer->lookahead == '.') return false;
  bool touches = lexer->lookahead == '(';
  if (!to_next(lexer)) return false;
  int32_t sign = lexer->lookahead;
  char following[WORD_SIZE] = {0};
  if (begins_name(sign)) read_name(lexer, following);
  // A name with a point is none of the words below, but an operand as they may be.
  bool dotted = lexer->lookahead == '.';
  if (dotted) strcpy(following, ".");
  bool is_word;
  if (word < FINDING) {
    is_word = !(sign == '*' || sign == '/' || sign == '^') && strcmp(following, "from") != 0 &&
              strcmp(following, "into") != 0;
  } else if (word == FINDING) {
    char third[WORD_SIZE];
    skip_spaces(lexer);
    read_name(lexer, third);
    is_word = following[0] && !dotted && strcmp(third, "at") == 0;
  } else if (following[0]) {
    // `expect always linear` claims the state of an op-amp called `always`; where the line goes on, `linear` is a node.
    static const char *const STATES[] = {"linear", "latches", "oscillates", "at", "goes"};
    char third[WORD_SIZE];
    skip_spaces(lexer);
    int32_t behind = lexer->lookahead;
    bool ends = lexer->eof(lexer) || behind == '\n' || behind == '\r' || behind == '#';
    read_name(lexer, third);
    int state = place_of(following, STATES, 5);
    bool is_high_or_low = strcmp(third, "high") == 0 || strcmp(third, "low") == 0;
    is_word = state < 0 || (state < 3 ? !ends : !is_high_or_low);
  } else {
    is_word = touches || sign == '(' || is_minus(sign) || is_digit(sign);
  }
  return is_word && found(lexer, (unsigned)(LATER_WORD + word));
}

static bool end_line(State *state, TSLexer *lexer) {
  state->odd = !state->odd;
  return found(lexer, LINE_END);
}

static bool line_end(State *state, TSLexer *lexer) {
  advance(lexer);
  lexer->mark_end(lexer);
  if (state->alike > 0) {
    state->alike--;
  } else {
    state->go_on = goes_on(lexer, &state->alike);
  }
  return state->go_on ? found(lexer, CONTINUATION) : end_line(state, lexer);
}

// `##` where a statement may begin; elsewhere it is a comment like any other.
static bool description(TSLexer *lexer) {
  advance(lexer);
  if (lexer->lookahead != '#') return false;
  while (lexer->lookahead != '\n' && !lexer->eof(lexer)) {
    bool space = is_space(lexer->lookahead);
    advance(lexer);
    if (!space) lexer->mark_end(lexer);
  }
  return found(lexer, DESCRIPTION);
}

static bool wire(TSLexer *lexer) {
  advance(lexer);
  if (!is_minus(lexer->lookahead)) return false;
  advance(lexer);
  lexer->mark_end(lexer);
  return found(lexer, WIRE);
}

static bool open_text(TSLexer *lexer) {
  do {
    advance(lexer);
    if (lexer->lookahead == '"') return false;
  } while (lexer->lookahead != '\n' && !lexer->eof(lexer));
  lexer->mark_end(lexer);
  return found(lexer, OPEN_TEXT);
}

static bool decimal_comma(TSLexer *lexer) {
  while (is_digit(lexer->lookahead)) advance(lexer);
  if (lexer->lookahead != ',') return false;
  advance(lexer);
  if (!is_digit(lexer->lookahead)) return false;
  while (is_digit(lexer->lookahead)) advance(lexer);
  lexer->mark_end(lexer);
  return found(lexer, DECIMAL_COMMA);
}

// What is left of a broken line, in one piece.
static bool unread(TSLexer *lexer) {
  if (lexer->lookahead == '#') return false;
  bool in_text = false;
  while (lexer->lookahead != '\n' && !lexer->eof(lexer) && (in_text || lexer->lookahead != '#')) {
    if (lexer->lookahead == '"') in_text = !in_text;
    bool space = is_space(lexer->lookahead);
    advance(lexer);
    if (!space) lexer->mark_end(lexer);
  }
  return found(lexer, UNREAD);
}

bool tree_sitter_ampersum_external_scanner_scan(void *payload, TSLexer *lexer, const bool *valid) {
  State *state = payload;
  if (state->bare == BARE_READ) {
    state->bare = 0;
    return end_line(state, lexer);
  }
  while (is_space(lexer->lookahead)) lexer->advance(lexer, true);
  // A name is missing here. The error needs a place, which is the line's end; the token for that follows without one.
  if (state->bare == BARE && (lexer->lookahead == '\n' || lexer->eof(lexer))) {
    state->bare = lexer->eof(lexer) ? 0 : BARE_READ;
    advance(lexer);
    return found(lexer, UNREAD);
  }
  if (lexer->eof(lexer)) {
    if (state->ended) return false;
    state->ended = 1;
    return found(lexer, LINE_END);
  }
  if (lexer->lookahead == '\n') return line_end(state, lexer);
  // No rule holds it: where it is valid, everything is, and the parser is recovering from an error.
  if (valid[UNREAD]) return unread(lexer);
  if (begins_name(lexer->lookahead)) return valid[FIRST_NAME] ? first_word(state, lexer, valid) : later_word(lexer, valid);
  if (lexer->lookahead == '#') return valid[FIRST_NAME] && description(lexer);
  if (is_minus(lexer->lookahead)) return wire(lexer);
  if (lexer->lookahead == '"') return open_text(lexer);
  if (is_digit(lexer->lookahead)) return decimal_comma(lexer);
  return false;
}
