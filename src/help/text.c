#include "help/text.h"

#include <string.h>

#include "base/language.h"
#include "base/wrap.h"

enum { INDENT = 2, WIDEST_TERM = 24, NAME_SIZE = 96 };

static void put_lines(const char *lines, FILE *out) {
    while (*lines) {
        size_t n = strcspn(lines, "\n");
        fprintf(out, "%*s%.*s\n", n > 0 ? INDENT : 0, "", (int)n, lines);
        lines += n + (lines[n] == '\n');
    }
}

static void put_paragraphs(const char *const *paragraphs, int indent, FILE *out) {
    for (int i = 0; paragraphs[i]; i++) {
        if (i > 0) fputc('\n', out);
        fprintf(out, "%*s", indent, "");
        tr_text_wrap(out, indent, indent, tr_translated(paragraphs[i]));
    }
}

/* A term, its text beside it from `column` on; below it where the term is too long. */
static void put_term(const char *term, const char *text, int column, FILE *out) {
    fprintf(out, "%*s%s", INDENT, "", term);
    int at = INDENT + tr_text_columns(term);
    if (at + 1 >= column) {
        fputc('\n', out);
        at = 0;
    }
    fprintf(out, "%*s", column - at, "");
    tr_text_wrap(out, column, column, tr_translated(text));
}

static int column_behind(int widest) {
    return INDENT + (widest > WIDEST_TERM ? WIDEST_TERM : widest) + 2;
}

static const char *as_is(const char *term) {
    return term;
}

/* in_words: gives a term as it is shown. */
static void put_terms(const tr_help_term *terms, const char *(*in_words)(const char *), FILE *out) {
    int widest = 0;
    for (int i = 0; terms[i].term; i++) {
        int n = tr_text_columns(in_words(terms[i].term));
        if (n > widest) widest = n;
    }
    for (int i = 0; terms[i].term; i++) {
        put_term(in_words(terms[i].term), terms[i].text, column_behind(widest), out);
    }
}

void tr_help_list_text(const tr_help_term *names, FILE *out) {
    put_terms(names, as_is, out);
}

void tr_help_sections_text(const tr_help_section *sections, FILE *out) {
    for (const tr_help_section *s = sections; s->heading; s++) {
        fprintf(out, "\n%s:\n", tr_translated(s->heading));
        if (s->paragraphs) put_paragraphs(s->paragraphs, INDENT, out);
        for (int i = 0; s->points && s->points[i]; i++) {
            fprintf(out, "%*s- ", INDENT, "");
            tr_text_wrap(out, INDENT + 2, INDENT + 2, tr_translated(s->points[i]));
        }
        if (s->terms) put_terms(s->terms, tr_translated, out);
        if (s->lines) put_lines(s->lines, out);
    }
}

void tr_help_intro_text(const tr_help_topic *topic, FILE *out) {
    put_paragraphs(topic->intro, 0, out);
}

/* Where a synopsis may be broken: before the next option or group, outside of brackets. */
static size_t part_length(const char *text) {
    int depth = 0;
    for (size_t i = 0; text[i]; i++) {
        if (text[i] == '[') depth++;
        if (text[i] == ']') depth--;
        if (text[i] == ' ' && depth == 0 && (text[i + 1] == '[' || text[i + 1] == '-')) return i;
    }
    return strlen(text);
}

void tr_help_usage_text(const tr_help_command *command, const char *prefix, FILE *out) {
    fprintf(out, "%strammel %s", prefix, command->name);
    int indent = tr_text_columns(prefix) + (int)strlen("trammel ") + (int)strlen(command->name);
    int column = indent;
    for (const char *at = command->synopsis; *at;) {
        size_t n = part_length(at);
        if (column + 1 + (int)n > TR_TEXT_WIDTH) {
            fprintf(out, "\n%*s", indent, "");
            column = indent;
        }
        column += fprintf(out, " %.*s", (int)n, at);
        at += n + (at[n] == ' ');
    }
    fputc('\n', out);
}

static void print_name(const tr_help_word *word, char name[NAME_SIZE]) {
    snprintf(name, NAME_SIZE, "%s%s%s", word->name, word->value ? " " : "",
             word->value ? word->value : "");
}

/* Operands and options stand below each other: one width for both. */
static int widest_word(const tr_help_word *words, int widest) {
    char name[NAME_SIZE];
    for (; words->name; words++) {
        print_name(words, name);
        if ((int)strlen(name) > widest && strlen(name) <= WIDEST_TERM) widest = (int)strlen(name);
    }
    return widest;
}

static void put_words(const tr_help_word *words, int column, FILE *out) {
    char name[NAME_SIZE];
    for (; words->name; words++) {
        print_name(words, name);
        put_term(name, words->text, column, out);
    }
}

static void put_see(const char *const *names, FILE *out) {
    fprintf(out, "\n%s trammel help", TR_("See also:"));
    for (int i = 0; names[i]; i++) fprintf(out, "%s %s", i > 0 ? "," : "", names[i]);
    fputc('\n', out);
}

void tr_help_command_text(const tr_help_command *command, FILE *out) {
    int column = column_behind(widest_word(command->options, widest_word(command->operands, 0)));
    char prefix[64];
    snprintf(prefix, sizeof prefix, "%s ", TR_("usage:"));
    tr_help_usage_text(command, prefix, out);
    fputc('\n', out);
    put_paragraphs(command->intro, 0, out);
    fputc('\n', out);
    put_words(command->operands, column, out);
    put_words(command->options, column, out);
    tr_text_wrap(out, 0, 0, tr_translated(TR_HELP_OPTIONS_ANYWHERE));
    tr_help_sections_text(command->sections, out);
    put_see(command->see, out);
}

/* "  sheets[].id  mm; default 5", and below it what it means. */
static void put_key(const tr_help_key *key, FILE *out) {
    fprintf(out, "%*s%s", INDENT, "", key->path);
    if (key->unit) fprintf(out, " (%s)", tr_translated(key->unit));
    if (key->otherwise) fprintf(out, ", %s", TR_("optional"));
    fprintf(out, "\n%*s", 3 * INDENT, "");
    tr_text_wrap(out, 3 * INDENT, 3 * INDENT, tr_translated(key->text));
    if (!key->otherwise || !*key->otherwise) return;
    const char *label = TR_("Default:");
    fprintf(out, "%*s%s ", 3 * INDENT, "", label);
    tr_text_wrap(out, 3 * INDENT + tr_text_columns(label) + 1, 3 * INDENT,
                 tr_translated(key->otherwise));
}

void tr_help_format_text(const tr_help_format *format, FILE *out) {
    int column = fprintf(out, "%s: ", format->name);
    tr_text_wrap(out, column, 0, tr_translated(format->summary));
    fputc('\n', out);
    put_paragraphs(format->intro, 0, out);
    fprintf(out, "\n%s\n", TR_("Keys:"));
    tr_text_wrap(out, 0, 0,
                 tr_translated(format->is_result ? TR_HELP_RESULT_RULE : TR_HELP_KEYS_RULE));
    for (const tr_help_key *key = format->keys; key->path; key++) put_key(key, out);
    tr_help_sections_text(format->sections, out);
    for (const tr_help_example *e = format->examples; e->name; e++) {
        fputc('\n', out);
        fprintf(out, TR_("Example, %s:"), e->name);
        fputc('\n', out);
        put_lines(e->text, out);
    }
    put_see(format->see, out);
}
