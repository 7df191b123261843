#include "help/roff.h"

#include <ctype.h>
#include <stdbool.h>
#include <string.h>

#include "help/pages.h"

/* Longer lines of source are hard to read, and some formatters warn of them. */
enum { LINE_WIDTH = 70 };

/* A minus sign is a hyphen in running text, but what is to be typed must remain a minus sign. */
static void put_character(char c, bool is_literal, FILE *out) {
    if (c == '\\') {
        fputs("\\e", out);
    } else if (c == '-' && is_literal) {
        fputs("\\-", out);
    } else {
        fputc(c, out);
    }
}

/* n bytes; what stands between backquotes is bold, and so is what begins with two minus signs. */
static int put_word(const char *word, size_t n, bool *is_quoted, FILE *out) {
    int width = 0;
    bool is_option = !*is_quoted && n > 2 && word[0] == '-' && word[1] == '-';
    if (is_option) fputs("\\fB", out);
    for (size_t i = 0; i < n; i++) {
        if (word[i] == '`') {
            *is_quoted = !*is_quoted;
            fputs(*is_quoted ? "\\fB" : "\\fR", out);
            width += 3;
            continue;
        }
        put_character(word[i], *is_quoted || is_option, out);
        width++;
    }
    if (is_option) fputs("\\fR", out);
    return width;
}

/* A paragraph in lines of source; never a line that begins as a request does. */
static void put_text_from(int column, const char *text, FILE *out) {
    bool is_quoted = false;
    bool is_first = true;
    while (*text) {
        size_t n = strcspn(text, " ");
        if (!is_first) {
            bool is_full = column + 1 + (int)n > LINE_WIDTH;
            fputc(is_full ? '\n' : ' ', out);
            column = is_full ? 0 : column + 1;
        }
        if (column == 0 && (*text == '.' || *text == '\'')) fputs("\\&", out);
        column += put_word(text, n, &is_quoted, out);
        text += n + (text[n] == ' ');
        is_first = false;
    }
    fputc('\n', out);
}

static void put_text(const char *text, FILE *out) {
    put_text_from(0, text, out);
}

static void put_literal(const char *text, FILE *out) {
    for (; *text; text++) put_character(*text, true, out);
}

static void put_lines(const char *lines, FILE *out) {
    fputs(".RS 4\n.EX\n", out);
    while (*lines) {
        size_t n = strcspn(lines, "\n");
        if (*lines == '.' || *lines == '\'') fputs("\\&", out);
        for (size_t i = 0; i < n; i++) put_character(lines[i], true, out);
        fputc('\n', out);
        lines += n + (lines[n] == '\n');
    }
    fputs(".EE\n.RE\n", out);
}

static void put_heading(const char *heading, FILE *out) {
    bool has_blank = strchr(heading, ' ');
    fputs(has_blank ? ".SH \"" : ".SH ", out);
    for (const char *c = heading; *c; c++) fputc(toupper((unsigned char)*c), out);
    fputs(has_blank ? "\"\n" : "\n", out);
}

static void put_upper(const char *text, FILE *out) {
    for (const char *c = text; *c; c++) {
        if (*c == '-')
            fputs("\\-", out);
        else
            fputc(toupper((unsigned char)*c), out);
    }
}

/* page: "", "check", "job"; what man(1) calls it is trammel, trammel-check, trammel-job. */
static void put_title(const char *page, int section, const char *summary, const tr_help_manual *m) {
    const char *dash = *page ? "\\-" : "";
    fputs(".TH TRAMMEL", m->out);
    fputs(dash, m->out);
    put_upper(page, m->out);
    fprintf(m->out, " %d \"%s\" \"trammel %s\" \"trammel\"\n.nh\n.ad l\n", section, m->date,
            m->version);
    fprintf(m->out, ".SH NAME\ntrammel%s", dash);
    put_literal(page, m->out);
    fputs(" \\- ", m->out);
    put_text_from((int)strlen("trammel- - ") + (int)strlen(page), summary, m->out);
}

static void put_paragraphs(const char *const *paragraphs, FILE *out) {
    for (int i = 0; paragraphs[i]; i++) {
        if (i > 0) fputs(".PP\n", out);
        put_text(paragraphs[i], out);
    }
}

static void put_terms(const tr_help_term *terms, FILE *out) {
    for (; terms->term; terms++) {
        fputs(".TP\n.B ", out);
        put_literal(terms->term, out);
        fputc('\n', out);
        put_text(terms->text, out);
    }
}

static void put_sections(const tr_help_section *sections, FILE *out) {
    for (const tr_help_section *s = sections; s->heading; s++) {
        put_heading(s->heading, out);
        if (s->paragraphs) put_paragraphs(s->paragraphs, out);
        for (int i = 0; s->points && s->points[i]; i++) {
            fputs(".IP \\(bu 2\n", out);
            put_text(s->points[i], out);
        }
        if (s->terms) put_terms(s->terms, out);
        if (s->lines) put_lines(s->lines, out);
    }
}

static void put_cautions(const tr_help_manual *m) {
    put_heading("Cautions", m->out);
    put_text(m->cautions, m->out);
}

/* Names of other pages: "trammel-job(5), trammel-lens(1)". */
static void put_see(const char *const *names, FILE *out) {
    put_heading("See also", out);
    for (int i = 0; names[i]; i++) {
        bool is_format = tr_help_find_format(names[i]) || strcmp(names[i], "files") == 0;
        bool is_both = is_format && tr_help_find_command(names[i]);
        if (is_both) {
            fputs(".BR trammel\\-", out);
            put_literal(names[i], out);
            fputs(" (1),\n", out);
        }
        fputs(".BR trammel", out);
        if (*names[i]) fputs("\\-", out);
        put_literal(names[i], out);
        fprintf(out, " (%d)%s\n", is_format ? 5 : 1, names[i + 1] ? "," : "");
    }
}

static void put_words(const tr_help_word *words, FILE *out) {
    for (; words->name; words++) {
        fputs(".TP\n", out);
        fputs(words->name[0] == '-' ? "\\fB" : "\\fI", out);
        put_literal(words->name, out);
        if (words->value) {
            fputs("\\fR \\fI", out);
            put_literal(words->value, out);
        }
        fputs("\\fR\n", out);
        put_text(words->text, out);
    }
}

/* Capitals stand for something; all else is typed as it stands. */
static void put_synopsis(const tr_help_command *command, FILE *out) {
    fputs(".B trammel ", out);
    put_literal(command->name, out);
    fputc('\n', out);
    int column = 0;
    for (const char *at = command->synopsis; *at;) {
        size_t n = strcspn(at, " ");
        if (column > 0) fputc(column + (int)n > LINE_WIDTH ? '\n' : ' ', out);
        column = column + (int)n > LINE_WIDTH ? 0 : column;
        for (size_t i = 0; i < n; i++) put_character(at[i], true, out);
        column += (int)n + 1;
        at += n + (at[n] == ' ');
    }
    fputc('\n', out);
}

void tr_help_command_roff(const tr_help_command *command, const tr_help_manual *m) {
    put_title(command->name, 1, command->summary, m);
    put_heading("Synopsis", m->out);
    put_synopsis(command, m->out);
    put_heading("Description", m->out);
    put_paragraphs(command->intro, m->out);
    put_heading("Operands", m->out);
    put_words(command->operands, m->out);
    put_heading("Options", m->out);
    put_text(TR_HELP_OPTIONS_ANYWHERE, m->out);
    put_words(command->options, m->out);
    put_sections(command->sections, m->out);
    put_cautions(m);
    put_see(command->see, m->out);
}

void tr_help_format_roff(const tr_help_format *format, const tr_help_manual *m) {
    FILE *out = m->out;
    put_title(format->name, 5, format->summary, m);
    put_heading("Description", out);
    put_paragraphs(format->intro, out);
    put_heading("Keys", out);
    put_text(format->is_result ? TR_HELP_RESULT_RULE : TR_HELP_KEYS_RULE, out);
    for (const tr_help_key *key = format->keys; key->path; key++) {
        fputs(".TP\n\\fB", out);
        put_literal(key->path, out);
        fputs("\\fR", out);
        if (key->unit) fprintf(out, " (%s)", key->unit);
        fprintf(out, "%s\n", key->otherwise ? ", optional" : "");
        put_text(key->text, out);
        if (!key->otherwise || !*key->otherwise) continue;
        fputs(".br\nDefault: ", out);
        put_text(key->otherwise, out);
    }
    put_sections(format->sections, out);
    for (const tr_help_example *e = format->examples; e->name; e++) {
        fputs(e == format->examples ? ".SH EXAMPLES\n" : ".PP\n", out);
        put_literal(e->name, out);
        fputs(":\n", out);
        put_lines(e->text, out);
    }
    put_cautions(m);
    put_see(format->see, out);
}

static void put_entry(const char *name, int section, const char *summary, FILE *out) {
    fputs(".TP\n.BR trammel\\-", out);
    put_literal(name, out);
    fprintf(out, " (%d)\n", section);
    put_text(summary, out);
}

static void put_commands(FILE *out) {
    for (int i = 0; tr_help_commands[i]; i++) {
        put_entry(tr_help_commands[i]->name, 1, tr_help_commands[i]->summary, out);
    }
}

static void put_formats(FILE *out) {
    for (int i = 0; tr_help_formats[i]; i++) {
        put_entry(tr_help_formats[i]->name, 5, tr_help_formats[i]->summary, out);
    }
}

void tr_help_program_roff(const tr_help_manual *m) {
    static const char *const SEE[] = {"check", "files", NULL};
    put_title("", 1, tr_help_program.summary, m);
    fputs(".SH SYNOPSIS\n"
          ".B trammel\n.I COMMAND\n[\\fIARGUMENT\\fR...]\n.br\n"
          ".B trammel help\n[\\fICOMMAND\\fR | \\fIFORMAT\\fR | \\fBfiles\\fR]\n.br\n"
          ".B trammel \\-\\-version\n",
          m->out);
    put_heading("Description", m->out);
    put_paragraphs(tr_help_program.intro, m->out);
    put_heading("Commands", m->out);
    put_commands(m->out);
    put_heading("Files", m->out);
    put_formats(m->out);
    put_sections(tr_help_program.sections, m->out);
    put_cautions(m);
    put_see(SEE, m->out);
}

void tr_help_files_roff(const tr_help_manual *m) {
    static const char *const SEE[] = {"", NULL};
    put_title(tr_help_files.name, 5, tr_help_files.summary, m);
    put_heading("Description", m->out);
    put_paragraphs(tr_help_files.intro, m->out);
    put_heading("Formats", m->out);
    put_formats(m->out);
    put_sections(tr_help_files.sections, m->out);
    put_cautions(m);
    put_see(SEE, m->out);
}
