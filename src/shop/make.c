#include "shop/make.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "base/yaml_write.h"
#include "shop/shop.h"

enum { MAX_BYTES = 64 << 20 };

/* The kit's trammel.yaml, under another name: the kit is no shop. */
static const char TEMPLATE[] = "shop.yaml";

/* What was made, to be taken away again in the opposite order. */
typedef struct {
    const char *folder, *kit;
    char **made; /* owned, as its items */
    int n_made;
} maker;

static char *join(const char *a, const char *b) {
    size_t size = strlen(a) + strlen(b) + 2;
    char *path = malloc(size);
    if (path) snprintf(path, size, "%s/%s", a, b);
    return path;
}

static bool fail_system(const char *path, tr_error *err) {
    char why[128] = "unknown error";
    (void)strerror_r(errno, why, sizeof why);
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "cannot be made (%s)", why);
}

/* path is taken over; NULL: memory ran out. */
static bool remember(maker *m, char *path, tr_error *err) {
    char **more = path ? realloc(m->made, ((size_t)m->n_made + 1) * sizeof *more) : NULL;
    if (!more) {
        if (path) remove(path);
        free(path);
        return tr_fail_memory(err);
    }
    m->made = more;
    more[m->n_made++] = path;
    return true;
}

static void take_back(maker *m) {
    while (m->n_made > 0) {
        char *last = m->made[--m->n_made];
        remove(last);
        free(last);
    }
}

/* path is taken over. */
static bool make_folder(maker *m, char *path, tr_error *err) {
    if (!path) return tr_fail_memory(err);
    if (mkdir(path, 0777) == 0) return remember(m, path, err);
    bool ok = fail_system(path, err);
    free(path);
    return ok;
}

/* path is taken over. */
static bool write_file(maker *m, char *path, const void *data, size_t size, tr_error *err) {
    if (!path) return tr_fail_memory(err);
    if (tr_file_write(path, data, size, err)) return remember(m, path, err);
    free(path);
    return false;
}

static bool copy_file(maker *m, const char *from_folder, const char *name, const char *to_folder,
                      tr_error *err) {
    uint8_t *data = NULL;
    size_t size = 0;
    char *from = join(from_folder, name);
    bool ok = from ? tr_file_read(from, MAX_BYTES, &data, &size, err) : tr_fail_memory(err);
    ok = ok && write_file(m, join(to_folder, name), data, size, err);
    free(data);
    free(from);
    return ok;
}

static bool ends_in(const char *name, const char *end) {
    size_t n = strlen(name);
    size_t k = strlen(end);
    return n > k && name[0] != '.' && strcmp(name + n - k, end) == 0;
}

/* The files with that ending, from a folder of the kit into a new one of the shop. */
static bool copy_folder(maker *m, const char *from, const char *to, const char *ending,
                        tr_error *err) {
    char *source = *from ? join(m->kit, from) : strdup(m->kit);
    char *target = join(m->folder, to);
    bool ok = (source && target) || tr_fail_memory(err);
    ok = ok && make_folder(m, strdup(target), err);
    DIR *dir = ok ? opendir(source) : NULL;
    if (ok && !dir) {
        ok = tr_fail_at(err, TR_NO_FILE, source, 0, NULL,
                        "cannot be read; a starter kit has this folder: name one with '--kit'");
    }
    for (const struct dirent *e; ok && (e = readdir(dir)) != NULL;) {
        if (ends_in(e->d_name, ending)) ok = copy_file(m, source, e->d_name, target, err);
    }
    if (dir) closedir(dir);
    free(source);
    free(target);
    return ok;
}

/* ---- trammel.yaml ---- */

/* The line of a key with another value; the comment behind it stays where it was. */
static void put_line(const char *line, size_t n, const char *key, const char *value, FILE *to) {
    const char *comment = memchr(line, '#', n);
    long at = ftell(to);
    fprintf(to, "%s: ", key);
    if (strcmp(key, "shop") == 0)
        tr_yaml_put_text(to, value);
    else
        fputs(value, to);
    if (!comment) return;
    long column = ftell(to) - at;
    long wanted = comment - line;
    fprintf(to, "%*s%.*s", (int)(wanted > column ? wanted - column : 1), "",
            (int)(n - (size_t)wanted), comment);
}

static void put_template(const char *text, const tr_new_shop *r, FILE *to) {
    const char *const keys[] = {"shop", "units", "language", "paper"};
    const char *const values[] = {r->name, r->units, r->language, r->paper};
    for (const char *line = text; *line;) {
        size_t n = strcspn(line, "\n");
        bool is_put = false;
        for (int k = 0; k < 4 && !is_put; k++) {
            size_t length = strlen(keys[k]);
            if (!values[k] || strncmp(line, keys[k], length) != 0 || line[length] != ':') continue;
            put_line(line, n, keys[k], values[k], to);
            is_put = true;
        }
        if (!is_put) fwrite(line, 1, n, to);
        if (line[n]) fputc('\n', to);
        line += n + (line[n] == '\n');
    }
}

/* Under another name first, and read: trammel.yaml is right when it is there. */
static bool write_description(maker *m, const char *text, size_t size, tr_error *err) {
    tr_shop shop;
    tr_error why = {0};
    char *staged = join(m->folder, ".trammel-new.yaml");
    char *path = join(m->folder, TR_SHOP_FILE);
    bool ok = (staged && path) || tr_fail_memory(err);
    ok = ok && tr_file_write(staged, text, size, err);
    if (ok && tr_shop_read(staged, &shop, &why)) {
        tr_shop_release(&shop);
    } else if (ok) {
        snprintf(why.file, sizeof why.file, "%s/%s", m->kit, TEMPLATE);
        if (err) *err = why;
        ok = false;
    }
    ok = ok && (rename(staged, path) == 0 || fail_system(path, err));
    if (!ok && staged) unlink(staged);
    free(staged);
    free(path);
    return ok;
}

static bool describe(maker *m, const tr_new_shop *request, tr_error *err) {
    uint8_t *data = NULL;
    size_t n = 0;
    char *text = NULL;
    size_t size = 0;
    char *from = join(m->kit, TEMPLATE);
    bool ok = from ? tr_file_read(from, MAX_BYTES, &data, &n, err) : tr_fail_memory(err);
    FILE *to = ok ? open_memstream(&text, &size) : NULL;
    if (ok && !to) ok = tr_fail_memory(err);
    if (to) {
        put_template((const char *)data, request, to);
        if (fclose(to) != 0) ok = tr_fail_memory(err);
    }
    ok = ok && write_description(m, text, size, err);
    free(text);
    free(data);
    free(from);
    return ok;
}

/* ---- the folder ---- */

static bool check_empty(const char *folder, tr_error *err) {
    DIR *dir = opendir(folder);
    bool is_empty = true;
    if (!dir) {
        return tr_fail_at(
            err, TR_NO_FILE, folder, 0, NULL,
            "already exists, and is not a folder that can be read; give another name");
    }
    for (const struct dirent *e; (e = readdir(dir)) != NULL;) {
        if (strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0) is_empty = false;
    }
    closedir(dir);
    return is_empty || tr_fail_at(err, TR_NO_FILE, folder, 0, NULL,
                                  "is not empty; a shop is made in a new folder, or in an empty "
                                  "one");
}

/* A shop within another would hide it from its own jobs. */
static bool check_no_shop(const char *folder, tr_error *err) {
    tr_shop shop;
    struct stat about;
    tr_error unread = {0};
    bool is_there = stat(folder, &about) == 0;
    bool is_read =
        is_there ? tr_shop_find(folder, &shop, &unread) : tr_shop_of_file(folder, &shop, &unread);
    if (is_read && !shop.path) return true;
    const char *path = is_read ? shop.path : unread.file;
    tr_fail_at(err, TR_NO_FILE, folder, 0, NULL,
               "lies in a shop already, that of %.200s; make another shop elsewhere", path);
    tr_shop_release(&shop);
    return false;
}

static bool check_name(const tr_new_shop *request, tr_error *err) {
    const char *name = request->name;
    const tr_shop *s = NULL;
    return !name ||
           (*name && strlen(name) < sizeof s->name && tr_text_is_line(name, strlen(name))) ||
           tr_fail(err, TR_BAD_INPUT, "'--name' is not one line of at most %zu letters",
                   sizeof s->name - 1);
}

bool tr_shop_make(const char *folder, const char *kit, const tr_new_shop *request, tr_error *err) {
    static const tr_shop_folder EMPTY[] = {TR_SHOP_LENSES, TR_SHOP_JOBS, TR_SHOP_PHOTOS};
    maker m = {.folder = folder, .kit = kit};
    struct stat about;
    bool is_there = stat(folder, &about) == 0;
    bool ok = check_name(request, err) && check_no_shop(folder, err) &&
              (is_there ? check_empty(folder, err) : make_folder(&m, strdup(folder), err)) &&
              copy_folder(&m, tr_shop_folder_key(TR_SHOP_SHEETS),
                          tr_shop_folder_key(TR_SHOP_SHEETS), ".yaml", err) &&
              copy_folder(&m, tr_shop_folder_key(TR_SHOP_LAYOUTS),
                          tr_shop_folder_key(TR_SHOP_LAYOUTS), ".yaml", err) &&
              copy_folder(&m, "", TR_SHOP_PRINTS, ".pdf", err);
    for (int i = 0; i < 3 && ok; i++) {
        ok = make_folder(&m, join(folder, tr_shop_folder_key(EMPTY[i])), err);
    }
    ok = ok && describe(&m, request, err);
    if (!ok) take_back(&m);
    for (int i = 0; i < m.n_made; i++) free(m.made[i]);
    free(m.made);
    return ok;
}

/* ---- the kit ---- */

/* The folder of the program, by its own link; "" where the system has none. */
static void program_folder(char *out, size_t size) {
    ssize_t n = readlink("/proc/self/exe", out, size - 1);
    out[n > 0 ? n : 0] = 0;
    char *slash = strrchr(out, '/');
    if (slash) *slash = 0;
}

char *tr_shop_find_kit(tr_error *err) {
    static const char *const PLACES[] = {"../share/trammel/kit", "kit", "/usr/share/trammel/kit"};
    char folder[4096];
    program_folder(folder, sizeof folder);
    for (size_t i = 0; i < sizeof PLACES / sizeof *PLACES; i++) {
        char *kit = PLACES[i][0] == '/' ? strdup(PLACES[i]) : join(folder, PLACES[i]);
        char *file = kit ? join(kit, TEMPLATE) : NULL;
        bool is_there = file && access(file, R_OK) == 0;
        free(file);
        if (is_there) return kit;
        free(kit);
    }
    tr_fail(err, TR_NO_FILE,
            "the starter kit is not where the program expects it (share/trammel/kit); name its "
            "folder with '--kit'");
    return NULL;
}
