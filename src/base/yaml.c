#include "base/yaml.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <yaml.h>

#include "base/file.h"
#include "base/language.h"
#include "base/number.h"
#include "base/text.h"

/* A sheet with all 587 tags of its family has some 10 000 nodes. */
enum { MAX_BYTES = 4 << 20, MAX_NODES = 200000, MAX_DEPTH = 16 };

/* Room for a value as it is shown in a message. */
enum { SHOWN_SIZE = 64 };

/* Room for a path of a file. */
enum { PATH_SIZE = 4096 };

/* Room for a known key. */
enum { KEY_SIZE = 32 };

struct tr_yaml_file {
    char *path;
    tr_error err;
    bool is_loaded;
    yaml_document_t document;
};

static const tr_yaml NOTHING = {0};

/* The node of a file's root value. */
enum { ROOT = 1 };

/* True where a getter has nothing to do: an error came before, or there is no value. */
static bool is_idle(tr_yaml y) {
    return !y.file || y.file->err.code != TR_OK || y.node == 0;
}

static const yaml_node_t *node_of(tr_yaml y) {
    return &y.file->document.nodes.start[y.node - 1];
}

static int line_of_mark(yaml_mark_t mark) {
    return (int)mark.line + 1;
}

static const char *scalar_text(const yaml_node_t *node) {
    return (const char *)node->data.scalar.value;
}

static bool is_quoted(const yaml_node_t *node) {
    return node->data.scalar.style != YAML_PLAIN_SCALAR_STYLE;
}

/* What YAML 1.1 takes for null. */
static bool is_null(const yaml_node_t *node) {
    static const char *const WORDS[] = {"", "~", "null", "Null", "NULL"};
    if (node->type != YAML_SCALAR_NODE || is_quoted(node)) return false;
    for (size_t i = 0; i < sizeof WORDS / sizeof *WORDS; i++) {
        if (strcmp(scalar_text(node), WORDS[i]) == 0) return true;
    }
    return false;
}

static void print_shown(const yaml_node_t *scalar, char *out, size_t size) {
    tr_text_show(scalar_text(scalar), scalar->data.scalar.length, out, size);
}

static void print_value(tr_yaml y, char out[SHOWN_SIZE]) {
    const yaml_node_t *node = node_of(y);
    if (node->type == YAML_SEQUENCE_NODE) {
        snprintf(out, SHOWN_SIZE, TR_N("a list"));
    } else if (node->type == YAML_MAPPING_NODE) {
        snprintf(out, SHOWN_SIZE, TR_N("a mapping"));
    } else if (is_null(node) || node->data.scalar.length == 0) {
        snprintf(out, SHOWN_SIZE, TR_N("an empty value"));
    } else {
        char text[SHOWN_SIZE - 2];
        print_shown(node, text, sizeof text);
        snprintf(out, SHOWN_SIZE, is_quoted(node) ? "\"%s\"" : "%s", text);
    }
}

static void append(char *out, size_t size, const char *format, ...) TR_PRINTF(3, 4);

static void append(char *out, size_t size, const char *format, ...) {
    size_t n = strlen(out);
    va_list args;
    va_start(args, format);
    vsnprintf(out + n, size - n, format, args);
    va_end(args);
}

/* The path of keys from the root to a node. A document without aliases is a tree, so the parent is
   the one node that names this one; it is sought only when there is something to report. */
static void print_key_path(const yaml_document_t *document, int node, char *out, size_t size) {
    for (const yaml_node_t *p = document->nodes.start; p < document->nodes.top; p++) {
        int parent = (int)(p - document->nodes.start) + 1;
        if (p->type == YAML_SEQUENCE_NODE) {
            int n = (int)(p->data.sequence.items.top - p->data.sequence.items.start);
            for (int i = 0; i < n; i++) {
                if (p->data.sequence.items.start[i] != node) continue;
                print_key_path(document, parent, out, size);
                append(out, size, "[%d]", i);
                return;
            }
        } else if (p->type == YAML_MAPPING_NODE) {
            for (const yaml_node_pair_t *pair = p->data.mapping.pairs.start;
                 pair < p->data.mapping.pairs.top; pair++) {
                if (pair->value != node && pair->key != node) continue;
                const yaml_node_t *key = &document->nodes.start[pair->key - 1];
                char text[SHOWN_SIZE] = "?";
                if (key->type == YAML_SCALAR_NODE) print_shown(key, text, sizeof text);
                print_key_path(document, parent, out, size);
                append(out, size, "%s%s", out[0] ? "." : "", text);
                return;
            }
        }
    }
}

/* An error at y or, where `key` is given, at that key of the mapping y. */
static void fail_at(tr_yaml y, const char *key, const char *text) {
    char path[sizeof y.file->err.key] = "";
    print_key_path(&y.file->document, y.node, path, sizeof path);
    if (key) append(path, sizeof path, "%s%s", path[0] ? "." : "", key);
    tr_fail_at(&y.file->err, TR_BAD_INPUT, y.file->path, tr_yaml_line(y), path, "%s", text);
}

void tr_yaml_fail(tr_yaml y, const char *format, ...) {
    if (is_idle(y)) return;
    char text[sizeof y.file->err.text];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    fail_at(y, NULL, text);
}

void tr_yaml_fail_inside(tr_yaml y, const tr_error *cause) {
    if (is_idle(y)) return;
    if (cause->code == TR_NO_FILE) {
        tr_yaml_fail(y, "names %s, which %s", cause->file, cause->text);
    } else {
        y.file->err = *cause;
    }
}

void tr_yaml_fail_memory(tr_yaml y) {
    if (y.file) tr_fail_memory(&y.file->err);
}

/* ---- opening ---- */

static int line_of_offset(const uint8_t *data, size_t offset) {
    int line = 1;
    for (size_t i = 0; i < offset; i++) line += data[i] == '\n';
    return line;
}

static void fail_parser(tr_yaml_file *file, const yaml_parser_t *parser, const uint8_t *data) {
    const char *problem = parser->problem;
    /* Of an allocation that failed libyaml has nothing to say. */
    if (!problem) {
        tr_fail_memory(&file->err);
    } else if (parser->error == YAML_READER_ERROR) {
        tr_fail_at(&file->err, TR_BAD_INPUT, file->path,
                   line_of_offset(data, parser->problem_offset), NULL,
                   "is not plain UTF-8 text (%s); save it as UTF-8", problem);
    } else {
        tr_fail_at(&file->err, TR_BAD_INPUT, file->path, line_of_mark(parser->problem_mark), NULL,
                   "is not YAML (%s%s%s); check indents, colons, brackets and quotes there",
                   parser->context ? parser->context : "", parser->context ? ": " : "", problem);
    }
}

typedef struct {
    int documents, nodes, depth;
} event_count;

static const yaml_char_t *anchor_of(const yaml_event_t *event) {
    switch (event->type) {
    case YAML_SCALAR_EVENT: return event->data.scalar.anchor;
    case YAML_SEQUENCE_START_EVENT: return event->data.sequence_start.anchor;
    case YAML_MAPPING_START_EVENT: return event->data.mapping_start.anchor;
    default: return NULL;
    }
}

static const yaml_char_t *tag_of(const yaml_event_t *event) {
    switch (event->type) {
    case YAML_SCALAR_EVENT: return event->data.scalar.tag;
    case YAML_SEQUENCE_START_EVENT: return event->data.sequence_start.tag;
    case YAML_MAPPING_START_EVENT: return event->data.mapping_start.tag;
    default: return NULL;
    }
}

/* What is wrong with the file at this event; NULL: nothing. */
static const char *event_fault(const yaml_event_t *event, event_count *count) {
    switch (event->type) {
    case YAML_DOCUMENT_START_EVENT: count->documents++; break;
    case YAML_SCALAR_EVENT: count->nodes++; break;
    case YAML_SEQUENCE_START_EVENT:
    case YAML_MAPPING_START_EVENT:
        count->nodes++;
        count->depth++;
        break;
    case YAML_SEQUENCE_END_EVENT:
    case YAML_MAPPING_END_EVENT: count->depth--; break;
    default: break;
    }
    if (event->type == YAML_ALIAS_EVENT || anchor_of(event)) {
        return TR_N("uses an anchor or alias (& or *); write the value out in each place");
    }
    if (tag_of(event)) return TR_N("uses a tag (!); leave it out, or put the text in quotes");
    if (count->depth > MAX_DEPTH) return TR_N("is nested too deep; check the brackets and indents");
    if (count->nodes > MAX_NODES)
        return TR_N("holds too many values; check that it is the right file");
    if (count->documents > 1)
        return TR_N("starts a second document (---); put it into a file of its own");
    if (event->type == YAML_STREAM_END_EVENT && count->documents == 0) {
        return TR_N("is empty; check that it is the right file");
    }
    return NULL;
}

static void start_parser(yaml_parser_t *parser, const uint8_t *data, size_t size) {
    yaml_parser_set_input_string(parser, data, size);
    yaml_parser_set_encoding(parser, YAML_UTF8_ENCODING);
}

/* Walks through the whole file event by event, before a tree is built of it: what could blow up is
   refused here, at its line. */
static bool scan(tr_yaml_file *file, const uint8_t *data, size_t size) {
    yaml_parser_t parser;
    if (!yaml_parser_initialize(&parser)) return tr_fail_memory(&file->err);
    start_parser(&parser, data, size);
    event_count count = {0};
    for (bool is_end = false; !is_end && file->err.code == TR_OK;) {
        yaml_event_t event;
        if (!yaml_parser_parse(&parser, &event)) {
            fail_parser(file, &parser, data);
            break;
        }
        const char *fault = event_fault(&event, &count);
        if (fault) {
            tr_fail_at(&file->err, TR_BAD_INPUT, file->path, line_of_mark(event.start_mark), NULL,
                       "%s", fault);
        }
        is_end = event.type == YAML_STREAM_END_EVENT;
        yaml_event_delete(&event);
    }
    yaml_parser_delete(&parser);
    return file->err.code == TR_OK;
}

static bool load(tr_yaml_file *file, const uint8_t *data, size_t size) {
    yaml_parser_t parser;
    if (!yaml_parser_initialize(&parser)) return tr_fail_memory(&file->err);
    start_parser(&parser, data, size);
    file->is_loaded = yaml_parser_load(&parser, &file->document) != 0;
    if (!file->is_loaded) fail_parser(file, &parser, data);
    yaml_parser_delete(&parser);
    return file->is_loaded;
}

/* How many bytes stand before the text: some editors begin UTF-8 with U+FEFF. libyaml skips it only
   where it may choose the encoding. */
static size_t byte_order_mark(const uint8_t *data, size_t size) {
    return size >= 3 && memcmp(data, "\xef\xbb\xbf", 3) == 0 ? 3 : 0;
}

/* The kind of a file that is often named in the place of another; NULL: it may be YAML. */
static const char *known_kind(const uint8_t *data, size_t size) {
    static const struct {
        size_t at, n;
        const char *bytes, *kind;
    } KINDS[] = {
        {0, 3, "\xff\xd8\xff", TR_N("a JPEG")},
        {0, 8, "\x89PNG\r\n\x1a\n", TR_N("a PNG")},
        {0, 5, "%PDF-", TR_N("a PDF")},
        {4, 8, "ftypheic", TR_N("an HEIC photo")},
        {0, 4, "PK\x03\x04", TR_N("a ZIP archive or an office document")},
    };
    for (size_t i = 0; i < sizeof KINDS / sizeof *KINDS; i++) {
        if (size >= KINDS[i].at + KINDS[i].n &&
            memcmp(data + KINDS[i].at, KINDS[i].bytes, KINDS[i].n) == 0) {
            return KINDS[i].kind;
        }
    }
    return NULL;
}

static bool check_kind(tr_yaml_file *file, const uint8_t *data, size_t size) {
    const char *kind = known_kind(data, size);
    return !kind || tr_fail_at(&file->err, TR_BAD_INPUT, file->path, 0, NULL,
                               "is %s, but a YAML file is needed here; on the command line it "
                               "comes first, then the photos",
                               kind);
}

tr_yaml tr_yaml_open(const char *path) {
    tr_yaml_file *file = calloc(1, sizeof *file);
    if (!file) return NOTHING;
    uint8_t *data = NULL;
    size_t size = 0;
    size_t at = 0;
    bool is_open = false;
    file->path = tr_path_beside("", path);
    if (!file->path) {
        tr_fail_memory(&file->err);
        goto out;
    }
    if (!tr_file_read(path, MAX_BYTES, &data, &size, &file->err)) goto out;
    at = byte_order_mark(data, size);
    is_open = check_kind(file, data, size) && scan(file, data + at, size - at) &&
              load(file, data + at, size - at);
out:
    free(data);
    return (tr_yaml){file, is_open ? ROOT : 0};
}

bool tr_yaml_close(tr_yaml y, tr_error *err) {
    if (!y.file) return tr_fail_memory(err);
    bool is_good = y.file->err.code == TR_OK;
    if (!is_good && err && err->code == TR_OK) *err = y.file->err;
    if (y.file->is_loaded) yaml_document_delete(&y.file->document);
    free(y.file->path);
    free(y.file);
    return is_good;
}

/* ---- mappings ---- */

/* Steps to the next key of a list with blanks between, without its '?': false at the end. */
static bool next_key(const char **list, char key[KEY_SIZE], bool *is_optional) {
    *list += strspn(*list, " ");
    size_t n = strcspn(*list, " ");
    if (n == 0) return false;
    assert(n < KEY_SIZE);
    memcpy(key, *list, n);
    *list += n;
    *is_optional = key[n - 1] == '?';
    key[*is_optional ? n - 1 : n] = 0;
    return true;
}

/* The list as it may appear in a sentence: "a, b, c". */
static void print_keys(const char *list, char *out, size_t size) {
    char key[KEY_SIZE];
    bool is_optional;
    out[0] = 0;
    while (next_key(&list, key, &is_optional)) append(out, size, "%s%s", out[0] ? ", " : "", key);
}

static int least(int a, int b) {
    return a < b ? a : b;
}

/* How many letters must be put in, left out, changed or swapped with their neighbour to get from a
   to b. Source: Damerau, A technique for computer detection and correction of spelling errors,
   Communications of the ACM 7(3), 1964; each place is edited at most once. */
static int spelling_distance(const char *a, const char *b) {
    int na = (int)strlen(a);
    int nb = (int)strlen(b);
    int d[KEY_SIZE + 1][KEY_SIZE + 1];
    for (int i = 0; i <= na; i++) d[i][0] = i;
    for (int j = 0; j <= nb; j++) d[0][j] = j;
    for (int i = 1; i <= na; i++) {
        for (int j = 1; j <= nb; j++) {
            int change = a[i - 1] == b[j - 1] ? 0 : 1;
            d[i][j] = least(d[i - 1][j - 1] + change, least(d[i - 1][j], d[i][j - 1]) + 1);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
                d[i][j] = least(d[i][j], d[i - 2][j - 2] + 1);
            }
        }
    }
    return d[na][nb];
}

/* True where `longer` is `shorter` with a unit behind it: yaw, yaw_deg. */
static bool lacks_unit(const char *shorter, const char *longer) {
    size_t n = strlen(shorter);
    return strncmp(shorter, longer, n) == 0 && longer[n] == '_';
}

/* The key of the list that was probably meant: at most a third of its letters differ. */
static bool guess_key(const char *given, const char *keys, char guess[KEY_SIZE]) {
    int best = KEY_SIZE;
    char key[KEY_SIZE];
    bool is_optional;
    if (given[0] == 0 || strlen(given) >= KEY_SIZE) return false;
    while (next_key(&keys, key, &is_optional)) {
        int distance =
            lacks_unit(given, key) || lacks_unit(key, given) ? 0 : spelling_distance(given, key);
        if (3 * distance > (int)strlen(key) || distance >= best) continue;
        best = distance;
        memcpy(guess, key, sizeof key);
    }
    return best < KEY_SIZE;
}

static bool is_key_of(const char *keys, const yaml_node_t *node) {
    char key[KEY_SIZE];
    bool is_optional;
    while (next_key(&keys, key, &is_optional)) {
        if (strlen(key) == node->data.scalar.length && strcmp(key, scalar_text(node)) == 0) {
            return true;
        }
    }
    return false;
}

/* What a decimal comma leaves behind in { yaw_deg: 0,5 }: after a whole number, digits as a key
   without a value. */
static bool is_after_comma(const yaml_node_t *mapping, const yaml_node_pair_t *pair,
                           const yaml_document_t *document) {
    const yaml_node_t *nodes = document->nodes.start;
    if (mapping->data.mapping.style != YAML_FLOW_MAPPING_STYLE ||
        pair == mapping->data.mapping.pairs.start) {
        return false;
    }
    const yaml_node_t *before = &nodes[pair[-1].value - 1];
    const yaml_node_t *key = &nodes[pair->key - 1];
    size_t n_digits = strspn(scalar_text(key), "0123456789");
    long whole;
    return n_digits > 0 && n_digits == key->data.scalar.length && !is_quoted(key) &&
           is_null(&nodes[pair->value - 1]) && before->type == YAML_SCALAR_NODE &&
           !is_quoted(before) && tr_integer_parse(scalar_text(before), &whole);
}

static void fail_unknown_key(tr_yaml y, const yaml_node_pair_t *pair, const char *keys) {
    char guess[KEY_SIZE];
    char known[256];
    tr_yaml key = {y.file, pair->key};
    if (is_after_comma(node_of(y), pair, &y.file->document)) {
        const char *whole = scalar_text(node_of((tr_yaml){y.file, pair[-1].value}));
        const char *digits = scalar_text(node_of(key));
        tr_yaml_fail(key,
                     "is not a known key; if %.24s,%.24s is one number, write it with a point: "
                     "%.24s.%.24s",
                     whole, digits, whole, digits);
    } else if (guess_key(scalar_text(node_of(key)), keys, guess)) {
        tr_yaml_fail(key, "is not a known key; did you mean '%s'?", guess);
    } else {
        print_keys(keys, known, sizeof known);
        tr_yaml_fail(key, "is not a known key; known here: %s", known);
    }
}

static void check_key(tr_yaml y, const yaml_node_pair_t *pair, const char *keys) {
    tr_yaml key = {y.file, pair->key};
    const yaml_node_t *node = node_of(key);
    if (node->type != YAML_SCALAR_NODE) {
        tr_yaml_fail(y, "has a key that is a list or a mapping; write its keys as plain words");
        return;
    }
    if (!is_key_of(keys, node)) {
        fail_unknown_key(y, pair, keys);
        return;
    }
    tr_yaml first = tr_yaml_at(y, scalar_text(node));
    if (first.node != pair->value) {
        tr_yaml_fail(key, "is given twice, first in line %d; leave one out", tr_yaml_line(first));
    }
}

/* A file is what the first of its reader's keys says. */
static void say_role(const tr_yaml_file *file, const char *keys) {
    char key[KEY_SIZE];
    bool is_optional;
    if (next_key(&keys, key, &is_optional)) tr_file_say_role(file->path, key);
}

void tr_yaml_keys(tr_yaml y, const char *keys) {
    if (is_idle(y)) return;
    const yaml_node_t *node = node_of(y);
    char text[256];
    if (node->type != YAML_MAPPING_NODE) {
        char known[192];
        print_value(y, text);
        print_keys(keys, known, sizeof known);
        tr_yaml_fail(y, "is %s; give a mapping with the keys %s", text, known);
        return;
    }
    if (y.node == ROOT) say_role(y.file, keys);
    for (const yaml_node_pair_t *pair = node->data.mapping.pairs.start;
         pair < node->data.mapping.pairs.top && !is_idle(y); pair++) {
        check_key(y, pair, keys);
    }
    char key[KEY_SIZE];
    bool is_optional;
    while (!is_idle(y) && next_key(&keys, key, &is_optional)) {
        if (is_optional || tr_yaml_has(tr_yaml_at(y, key))) continue;
        fail_at(y, key, "is missing; add it to the mapping that begins in this line");
    }
}

tr_yaml tr_yaml_at(tr_yaml y, const char *key) {
    tr_yaml none = {y.file, 0};
    if (is_idle(y) || node_of(y)->type != YAML_MAPPING_NODE) return none;
    const yaml_node_t *node = node_of(y);
    for (const yaml_node_pair_t *pair = node->data.mapping.pairs.start;
         pair < node->data.mapping.pairs.top; pair++) {
        const yaml_node_t *k = node_of((tr_yaml){y.file, pair->key});
        if (k->type == YAML_SCALAR_NODE && strcmp(scalar_text(k), key) == 0) {
            return (tr_yaml){y.file, pair->value};
        }
    }
    return none;
}

bool tr_yaml_has(tr_yaml y) {
    return !is_idle(y);
}

bool tr_yaml_is_list(tr_yaml y) {
    return !is_idle(y) && node_of(y)->type == YAML_SEQUENCE_NODE;
}

bool tr_yaml_is_mapping(tr_yaml y) {
    return !is_idle(y) && node_of(y)->type == YAML_MAPPING_NODE;
}

int tr_yaml_line(tr_yaml y) {
    return y.file && y.file->is_loaded && y.node ? line_of_mark(node_of(y)->start_mark) : 0;
}

/* ---- lists ---- */

int tr_yaml_count(tr_yaml y) {
    if (is_idle(y)) return 0;
    const yaml_node_t *node = node_of(y);
    if (node->type != YAML_SEQUENCE_NODE) {
        char text[SHOWN_SIZE];
        print_value(y, text);
        tr_yaml_fail(y, "is %s; give a list", text);
        return 0;
    }
    return (int)(node->data.sequence.items.top - node->data.sequence.items.start);
}

tr_yaml tr_yaml_item(tr_yaml y, int i) {
    if (i >= tr_yaml_count(y)) return (tr_yaml){y.file, 0};
    return (tr_yaml){y.file, node_of(y)->data.sequence.items.start[i]};
}

void *tr_yaml_array(tr_yaml y, int min, int max, size_t size, int *n) {
    *n = 0;
    if (is_idle(y)) return NULL;
    int count = tr_yaml_count(y);
    if (count < min || count > max) {
        tr_yaml_fail(y, "is a list of %d; give %d to %d", count, min, max);
    }
    if (is_idle(y) || count == 0) return NULL;
    void *items = calloc((size_t)count, size);
    if (items)
        *n = count;
    else
        tr_yaml_fail_memory(y);
    return items;
}

/* ---- scalars ---- */

/* The text of a scalar; NULL, with the error set, for anything else and for what is empty or holds
   control characters. */
static const char *one_line(tr_yaml y, const char *wanted) {
    const yaml_node_t *node = node_of(y);
    char text[SHOWN_SIZE];
    print_value(y, text);
    if (node->type != YAML_SCALAR_NODE || is_null(node) || node->data.scalar.length == 0) {
        tr_yaml_fail(y, "is %s; give %s", text, wanted);
        return NULL;
    }
    if (!tr_text_is_line(scalar_text(node), node->data.scalar.length)) {
        tr_yaml_fail(y, "holds a line break or another control character; give %s in one line",
                     wanted);
        return NULL;
    }
    return scalar_text(node);
}

void tr_yaml_text(tr_yaml y, char *out, size_t size) {
    if (is_idle(y)) return;
    const char *text = one_line(y, TR_N("a text"));
    if (!text) return;
    size_t n = strlen(text);
    if (n >= size)
        tr_yaml_fail(y, "has %zu bytes; give at most %zu", n, size - 1);
    else
        memcpy(out, text, n + 1);
}

bool tr_yaml_is_word(tr_yaml y, const char *word) {
    if (is_idle(y)) return false;
    const yaml_node_t *node = node_of(y);
    return node->type == YAML_SCALAR_NODE && strlen(word) == node->data.scalar.length &&
           strcmp(word, scalar_text(node)) == 0;
}

char *tr_yaml_path(tr_yaml y) {
    char text[PATH_SIZE] = "";
    tr_yaml_text(y, text, sizeof text);
    if (is_idle(y)) return NULL;
    char *path = tr_path_beside(y.file->path, text);
    if (!path) tr_yaml_fail_memory(y);
    return path;
}

int tr_yaml_choice(tr_yaml y, const char *const *words, int n) {
    if (is_idle(y)) return 0;
    char known[192] = "";
    for (int i = 0; i < n; i++) {
        append(known, sizeof known, "%s%s", i > 0 ? ", " : "", words[i]);
        if (tr_yaml_is_word(y, words[i])) return i;
    }
    char text[SHOWN_SIZE];
    print_value(y, text);
    tr_yaml_fail(y, "is %s; give one of: %s", text, known);
    return 0;
}

/* The text of a plain scalar, which alone can be a number; NULL for anything else. */
static const char *plain_text(tr_yaml y) {
    const yaml_node_t *node = node_of(y);
    return node->type == YAML_SCALAR_NODE && !is_quoted(node) ? scalar_text(node) : NULL;
}

int tr_yaml_integer(tr_yaml y, int low, int high) {
    if (is_idle(y)) return 0;
    const char *plain = plain_text(y);
    long x = 0;
    if (plain && tr_integer_parse(plain, &x) && x >= low && x <= high) return (int)x;
    char text[SHOWN_SIZE];
    print_value(y, text);
    tr_yaml_fail(y, "is %s; give a whole number from %d to %d", text, low, high);
    return 0;
}

static bool parse_number(tr_yaml y, double *x) {
    const char *plain = plain_text(y);
    if (plain && tr_number_parse(plain, x)) return true;
    char text[SHOWN_SIZE];
    print_value(y, text);
    tr_yaml_fail(y, "is %s; give a plain number such as 1600 or -12.5", text);
    return false;
}

double tr_yaml_number(tr_yaml y, double low, double high) {
    double x = 0;
    if (is_idle(y) || !parse_number(y, &x)) return 0;
    if (x >= low && x <= high) return x;
    char text[SHOWN_SIZE];
    print_value(y, text);
    tr_yaml_fail(y, "is %s; give a number from %.7g to %.7g", text, low, high);
    return 0;
}

double tr_yaml_size(tr_yaml y, double high) {
    double x = 0;
    if (is_idle(y) || !parse_number(y, &x)) return 0;
    if (x > 0 && x <= high) return x;
    char text[SHOWN_SIZE];
    print_value(y, text);
    tr_yaml_fail(y, "is %s; give a number above 0, at most %.7g", text, high);
    return 0;
}

static void check_count(tr_yaml y, int n) {
    int count = tr_yaml_count(y);
    if (count != n) tr_yaml_fail(y, "is a list of %d; give %d numbers", count, n);
}

void tr_yaml_integers(tr_yaml y, int *out, int n, int low, int high) {
    check_count(y, n);
    for (int i = 0; i < n && !is_idle(y); i++)
        out[i] = tr_yaml_integer(tr_yaml_item(y, i), low, high);
}

void tr_yaml_numbers(tr_yaml y, double *out, int n, double low, double high) {
    check_count(y, n);
    for (int i = 0; i < n && !is_idle(y); i++)
        out[i] = tr_yaml_number(tr_yaml_item(y, i), low, high);
}

void tr_yaml_sizes(tr_yaml y, double *out, int n, double high) {
    check_count(y, n);
    for (int i = 0; i < n && !is_idle(y); i++) out[i] = tr_yaml_size(tr_yaml_item(y, i), high);
}
