/* Prints, as a catalogue without translations, the texts that stand in tables and are looked up
   where they are shown: help and the sentences of findings. tools/languages adds what xgettext
   finds in the sources. */
#include <ctype.h>
#include <errno.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "help/pages.h"
#include "base/language.h"
#include "present/catalogue.h"

static void put(const char *where, const char *text) {
    if (!text || !*text) return;
    printf("#: %s\nmsgid \"", where);
    for (; *text; text++) {
        if (*text == '"' || *text == '\\') putchar('\\');
        putchar(*text);
    }
    puts("\"\nmsgstr \"\"\n");
}

/* Numbers, options and the like are no words of a language. */
static void put_word(const char *where, const char *text) {
    if (!text) return;
    int n = 0;
    for (const char *c = text; *c; c++) n += isalpha((unsigned char)*c) != 0;
    bool is_typed = *text == '-' || (*text == '`' && !strchr(text, ' '));
    if (n > 0 && !is_typed) put(where, text);
}

static void put_all(const char *where, const char *const *texts) {
    for (; texts && *texts; texts++) put(where, *texts);
}

static void put_sections(const char *where, const tr_help_section *sections) {
    for (const tr_help_section *s = sections; s->heading; s++) {
        put(where, s->heading);
        put_all(where, s->paragraphs);
        put_all(where, s->points);
        for (const tr_help_term *t = s->terms; t && t->term; t++) {
            put_word(where, t->term);
            put(where, t->text);
        }
    }
}

static void put_words(const char *where, const tr_help_word *words) {
    for (; words->name; words++) put(where, words->text);
}

static void put_command(const tr_help_command *c) {
    put(c->name, c->summary);
    put_all(c->name, c->intro);
    put_words(c->name, c->operands);
    put_words(c->name, c->options);
    put_sections(c->name, c->sections);
}

static void put_format(const tr_help_format *f) {
    put(f->name, f->summary);
    put_all(f->name, f->intro);
    for (const tr_help_key *k = f->keys; k->path; k++) {
        put_word(f->name, k->unit);
        put_word(f->name, k->otherwise);
        put(f->name, k->text);
    }
    put_sections(f->name, f->sections);
}

static void put_topic(const tr_help_topic *t) {
    put(t->name, t->summary);
    put_all(t->name, t->intro);
    put_sections(t->name, t->sections);
}

/* Those of the C library that a file is likely to meet with. */
static void put_errors(void) {
    static const int NUMBERS[] = {EIO,    ENAMETOOLONG, EMFILE, ENFILE, ELOOP,     EBUSY,
                                  EFBIG,  EINVAL,       EISDIR, EPIPE,  ETIMEDOUT, ENXIO,
                                  ENODEV, EDQUOT,       ENOSPC, EACCES, ENOENT,    EROFS};
    for (size_t i = 0; i < sizeof NUMBERS / sizeof *NUMBERS; i++)
        put("errno", strerror(NUMBERS[i]));
}

int main(void) {
    tr_english_begin();
    puts("msgid \"\"\nmsgstr \"Content-Type: text/plain; charset=UTF-8\\n\"\n");
    put_topic(&tr_help_program);
    put_topic(&tr_help_files);
    for (int i = 0; tr_help_commands[i]; i++) put_command(tr_help_commands[i]);
    for (int i = 0; tr_help_formats[i]; i++) put_format(tr_help_formats[i]);
    put("help", TR_HELP_OPTIONS_ANYWHERE);
    put("help", TR_HELP_KEYS_RULE);
    put("help", TR_HELP_RESULT_RULE);
    for (tr_finding_kind kind = 0; kind < TR_N_FINDINGS; kind++) {
        put(tr_finding_name(kind), tr_finding_message(kind));
    }
    for (tr_photo_flaw flaw = TR_FLAW_NONE; flaw < TR_N_FLAWS; flaw++) {
        put("weak photos", tr_photo_flaw_text(flaw));
    }
    put_errors();
    return 0;
}
