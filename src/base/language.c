#include "base/language.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/mo.h"

static const char ENGLISH[] = "en";
static const char VARIABLE[] = "TRAMMEL_LANGUAGE";

enum { NAME_SIZE = 16, PATH_SIZE = 4096 };

/* A language that was asked for. They stay, so that texts may be borrowed for good. */
typedef struct language {
    char name[NAME_SIZE];
    bool is_there;
    tr_mo mo;
    struct language *next;
} language;

static language *known;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static _Thread_local int english_depth;

/* ---- catalogues ---- */

/* "de" of "de_DE.UTF-8"; false for what is no language's name. */
static bool take_name(const char *text, size_t n, char name[NAME_SIZE]) {
    static const char LETTERS[] = "abcdefghijklmnopqrstuvwxyz";
    size_t length = strspn(text, LETTERS);
    if (length > n) length = n;
    bool is_whole = length == n || strchr("_.@", text[length]);
    if (length < 2 || length > 3 || !is_whole) return false;
    memcpy(name, text, length);
    name[length] = 0;
    return true;
}

/* Beside the program where it was built, for tests one folder up, else where it is installed. */
static bool read_catalogue(const char *name, tr_mo *mo) {
    static const char *const FOLDERS[] = {"languages", "../languages", "../share/locale"};
    char program[PATH_SIZE], path[PATH_SIZE + 64];
    ssize_t n = readlink("/proc/self/exe", program, sizeof program);
    if (n <= 0 || (size_t)n >= sizeof program) return false;
    while (n > 0 && program[n - 1] != '/') n--;
    for (size_t i = 0; i < sizeof FOLDERS / sizeof *FOLDERS; i++) {
        snprintf(path, sizeof path, "%.*s%s/%s/LC_MESSAGES/trammel.mo", (int)n, program, FOLDERS[i],
                 name);
        if (tr_mo_read(path, mo)) return true;
    }
    return false;
}

/* NULL: memory ran out. */
static const language *language_of(const char *name) {
    (void)pthread_mutex_lock(&lock);
    language *l = known;
    while (l && strcmp(l->name, name) != 0) l = l->next;
    if (!l && (l = calloc(1, sizeof *l))) {
        snprintf(l->name, sizeof l->name, "%s", name);
        l->is_there = strcmp(name, ENGLISH) == 0 || read_catalogue(name, &l->mo);
        l->next = known;
        known = l;
    }
    (void)pthread_mutex_unlock(&lock);
    return l;
}

static bool is_there(const char *name) {
    const language *l = language_of(name);
    return l && l->is_there;
}

/* ---- which one ---- */

/* The first of "de:es", or of the one name, that is there. "C" is English. */
static bool take_first(const char *list, char name[NAME_SIZE]) {
    while (*list) {
        size_t n = strcspn(list, ":");
        if (take_name(list, n, name) && is_there(name)) return true;
        list += n + (list[n] == ':');
    }
    return false;
}

/* As gettext has it: LANGUAGE, a list, counts where the locale is not "C". */
static void take_of_locale(char name[NAME_SIZE]) {
    static const char *const VARIABLES[] = {"LC_ALL", "LC_MESSAGES", "LANG"};
    const char *locale = "";
    for (size_t i = 0; i < sizeof VARIABLES / sizeof *VARIABLES && !*locale; i++) {
        const char *value = getenv(VARIABLES[i]);
        if (value) locale = value;
    }
    bool is_c = !*locale || strcmp(locale, "C") == 0 || strcmp(locale, "POSIX") == 0;
    const char *list = getenv("LANGUAGE");
    if (!is_c && ((list && take_first(list, name)) || take_first(locale, name))) return;
    snprintf(name, NAME_SIZE, "%s", ENGLISH);
}

/* NULL: English. */
static const language *current(void) {
    char name[NAME_SIZE];
    const char *chosen = getenv(VARIABLE);
    if (english_depth > 0) return NULL;
    if (!chosen || !*chosen)
        take_of_locale(name);
    else if (!take_name(chosen, strlen(chosen), name))
        return NULL;
    const language *l = strcmp(name, ENGLISH) == 0 ? NULL : language_of(name);
    return l && l->is_there ? l : NULL;
}

const char *tr_language(void) {
    const language *l = current();
    return l ? l->name : ENGLISH;
}

static bool fail_unknown(const char *name, tr_error *err) {
    return tr_fail(err, TR_BAD_INPUT, "there is no language '%.40s'; give one of: %s", name,
                   TRAMMEL_LANGUAGES);
}

bool tr_language_check(tr_error *err) {
    char name[NAME_SIZE];
    const char *chosen = getenv(VARIABLE);
    if (!chosen || !*chosen || strcmp(chosen, ENGLISH) == 0) return true;
    return (take_name(chosen, strlen(chosen), name) && is_there(name)) || fail_unknown(chosen, err);
}

bool tr_language_set(const char *name, tr_error *err) {
    char plain[NAME_SIZE];
    if (!take_name(name, strlen(name), plain) || !is_there(plain)) return fail_unknown(name, err);
    return setenv(VARIABLE, plain, 1) == 0 || tr_fail_memory(err);
}

bool tr_language_prefer(const char *name, tr_error *err) {
    char plain[NAME_SIZE];
    const char *chosen = getenv(VARIABLE);
    if (!chosen || !*chosen) return tr_language_set(name, err);
    return (take_name(name, strlen(name), plain) && is_there(plain)) || fail_unknown(name, err);
}

void tr_english_begin(void) {
    english_depth++;
}

void tr_english_end(void) {
    english_depth--;
}

/* ---- texts ---- */

const char *tr_translated(const char *english) {
    const language *l = current();
    const char *found = l ? tr_mo_find(&l->mo, english) : NULL;
    return found ? found : english;
}

void tr_message_translated(const char *english, char *out, size_t size) {
    const language *l = current();
    if (!l || !tr_mo_reprint(&l->mo, english, out, size)) snprintf(out, size, "%s", english);
}
