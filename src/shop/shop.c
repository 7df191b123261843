#include "shop/shop.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/array.h"
#include "base/file.h"
#include "base/language.h"
#include "base/listing.h"
#include "base/yaml.h"
#include "job/job.h"

#define DEFAULT_STORE "records.db"
/* Ten years. */
#define MAX_HOURS 87600.0
/* A plate that sits worse than this on its mark does not mark it. mm */
#define MAX_REFERENCE_SD_MM 1000.0

static const char *const FOLDERS[TR_SHOP_N_FOLDERS] = {"lenses", "sheets", "layouts", "jobs",
                                                       "photos"};

const char *tr_shop_folder_key(tr_shop_folder folder) {
    return FOLDERS[folder];
}

/* ---- reading ---- */

/* An address goes as it is; a path is relative to the file. */
static char *read_store(tr_yaml y, const char *shop_file) {
    char text[4096] = "";
    char *store = NULL;
    if (!tr_yaml_has(y)) {
        store = tr_path_beside(shop_file, DEFAULT_STORE);
    } else {
        tr_yaml_text(y, text, sizeof text);
        store = tr_store_is_server(text) ? strdup(text) : tr_path_beside(shop_file, text);
    }
    if (!store) tr_yaml_fail_memory(y);
    return store;
}

static void read_word(tr_yaml y, const char *const *words, int n, const char *otherwise, char *out,
                      size_t size) {
    const char *word = tr_yaml_has(y) ? words[tr_yaml_choice(y, words, n)] : otherwise;
    snprintf(out, size, "%s", word);
}

static void read_rules(tr_yaml y, tr_shop *shop) {
    static const char *const YES[] = {"false", "true"};
    static const char *const FILES[] = {"database", "folder"};
    static const char *const RULES[] = {"tell", "demand"};
    tr_yaml hours = tr_yaml_at(y, "lens_check_hours");
    tr_yaml rule = tr_yaml_at(y, "lens_check");
    tr_yaml folder = tr_yaml_at(y, "files_folder");
    shop->keeps = tr_yaml_choice(tr_yaml_at(y, "keep"), YES, 2) == 1;
    shop->has_files_in_folder = tr_yaml_choice(tr_yaml_at(y, "files"), FILES, 2) == 1;
    if (tr_yaml_has(folder)) shop->files_folder = tr_yaml_path(folder);
    if (tr_yaml_has(folder) && !shop->has_files_in_folder) {
        tr_yaml_fail(folder, "goes with 'files: folder', which is not there; add it");
    }
    if (shop->has_files_in_folder && !tr_yaml_has(folder) && shop->store &&
        tr_store_is_server(shop->store)) {
        tr_yaml_fail(
            tr_yaml_at(y, "files"),
            "is folder, but the store is on a server, beside which no folder lies; name one "
            "by 'files_folder'");
    }
    shop->lens_check_hours = tr_yaml_size(hours, MAX_HOURS);
    shop->demands_lens_check = tr_yaml_choice(rule, RULES, 2) == 1;
    if (tr_yaml_has(rule) && !tr_yaml_has(hours)) {
        tr_yaml_fail(rule, "goes with 'lens_check_hours', which is not there; add it");
    }
}

static void read_folders(tr_yaml y, tr_shop *shop) {
    for (int k = 0; k < TR_SHOP_N_FOLDERS; k++) {
        tr_yaml folder = tr_yaml_at(y, FOLDERS[k]);
        shop->folders[k] =
            tr_yaml_has(folder) ? tr_yaml_path(folder) : tr_path_beside(shop->path, FOLDERS[k]);
        if (!shop->folders[k]) tr_yaml_fail_memory(y);
    }
}

static void read_usual(tr_yaml y, tr_shop *shop) {
    tr_yaml references = tr_yaml_at(y, "references");
    tr_yaml sd = tr_yaml_at(y, "reference_sd_mm");
    shop->references = tr_read_usual_references(references, &shop->n_references);
    shop->has_reference_sd = tr_yaml_has(sd);
    shop->reference_sd_mm = tr_yaml_number(sd, 0, MAX_REFERENCE_SD_MM);
    if (shop->n_references > 0 && tr_yaml_has(references) && !tr_yaml_has(sd)) {
        tr_yaml_fail(references,
                     "needs 'reference_sd_mm' beside it: how well a plate sits on its plumb mark");
    }
}

bool tr_shop_read(const char *path, tr_shop *out, tr_error *err) {
    static const char *const UNITS[] = {"mm", "inch"};
    static const char *const LANGUAGES[] = {"en", "de", "es"};
    static const char *const PAPERS[] = {"A4", "Letter"};
    tr_shop shop = {.path = tr_path_beside("", path)};
    *out = (tr_shop){0};
    if (!shop.path) return tr_fail_memory(err);
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y,
                 "shop units? language? paper? store? keep? files? files_folder? lens_check_hours? "
                 "lens_check? lenses? sheets? layouts? jobs? photos? references? "
                 "reference_sd_mm?");
    tr_yaml_text(tr_yaml_at(y, "shop"), shop.name, sizeof shop.name);
    shop.units = (tr_shown_units)tr_yaml_choice(tr_yaml_at(y, "units"), UNITS, 2);
    read_word(tr_yaml_at(y, "language"), LANGUAGES, 3, "", shop.language, sizeof shop.language);
    read_word(tr_yaml_at(y, "paper"), PAPERS, 2, PAPERS[0], shop.paper, sizeof shop.paper);
    shop.store = read_store(tr_yaml_at(y, "store"), shop.path);
    read_rules(y, &shop);
    read_folders(y, &shop);
    read_usual(y, &shop);
    if (!tr_yaml_close(y, err)) {
        tr_shop_release(&shop);
        return false;
    }
    *out = shop;
    return true;
}

void tr_shop_release(tr_shop *shop) {
    free(shop->path);
    free(shop->store);
    free(shop->files_folder);
    for (int k = 0; k < TR_SHOP_N_FOLDERS; k++) free(shop->folders[k]);
    free(shop->references);
    *shop = (tr_shop){0};
}

/* ---- finding ---- */

/* Joined by one slash; NULL: memory ran out. */
static char *join(const char *folder, const char *name, const char *end) {
    size_t n = strlen(folder);
    size_t size = n + strlen(name) + strlen(end) + 2;
    char *path = malloc(size);
    const char *slash = n > 0 && folder[n - 1] == '/' ? "" : "/";
    if (path) snprintf(path, size, "%s%s%s%s", folder, slash, name, end);
    return path;
}

/* Cuts an absolute path to the folder above it; false at the root. */
static bool go_up(char *path) {
    char *slash = strrchr(path, '/');
    if (!slash || !slash[1]) return false;
    slash[slash == path ? 1 : 0] = 0;
    return true;
}

/* The folder itself, or one above it, that has a trammel.yaml: folder is cut to it. */
static bool seek_upwards(char *folder, bool *is_found) {
    *is_found = false;
    do {
        char *file = join(folder, TR_SHOP_FILE, "");
        if (!file) return false;
        *is_found = access(file, F_OK) == 0;
        free(file);
    } while (!*is_found && go_up(folder));
    return true;
}

/* trammel.yaml in the folder, of both an absolute path: by a relative path, where the one lies in
   the other. NULL: memory ran out. */
static char *shop_file_seen_from(const char *here, const char *folder) {
    size_t n_here = strlen(here);
    size_t n = strlen(folder);
    if (strcmp(here, folder) == 0) return strdup(TR_SHOP_FILE);
    if (strncmp(folder, here, n_here) == 0 && folder[n_here] == '/') /* below */
        return join(folder + n_here + 1, TR_SHOP_FILE, "");
    if (strncmp(folder, here, n) != 0 || here[n] != '/') return join(folder, TR_SHOP_FILE, "");
    int n_up = 0;
    for (const char *c = here + n; *c; c++) n_up += *c == '/';
    char *path = malloc(3 * (size_t)n_up + sizeof TR_SHOP_FILE);
    for (int i = 0; i < n_up && path; i++) memcpy(path + 3L * i, "../", 3);
    if (path) memcpy(path + 3L * n_up, TR_SHOP_FILE, sizeof TR_SHOP_FILE);
    return path;
}

bool tr_shop_find(const char *folder, tr_shop *out, tr_error *err) {
    bool is_found = false;
    *out = (tr_shop){0};
    errno = 0;
    char *at = realpath(*folder ? folder : ".", NULL);
    if (!at) return errno != ENOMEM || tr_fail_memory(err); /* no such folder: in no shop */
    char *here = realpath(".", NULL);
    bool is_lacking = !here && errno == ENOMEM;
    bool ok = (!is_lacking && seek_upwards(at, &is_found)) || tr_fail_memory(err);
    if (ok && is_found) {
        char *path = shop_file_seen_from(here ? here : "", at);
        ok = path ? tr_shop_read(path, out, err) : tr_fail_memory(err);
        free(path);
    }
    free(here);
    free(at);
    return ok;
}

void tr_shop_prefer_language(void) {
    tr_shop shop;
    tr_error unheard = {0};
    if (tr_shop_find("", &shop, &unheard) && *shop.language)
        (void)!tr_language_prefer(shop.language, &unheard);
    tr_shop_release(&shop);
}

bool tr_shop_of_file(const char *file, tr_shop *out, tr_error *err) {
    *out = (tr_shop){0};
    char *folder = tr_path_beside(file, ".");
    bool ok = folder ? tr_shop_find(folder, out, err) : tr_fail_memory(err);
    free(folder);
    return ok;
}

tr_store_place tr_shop_store(const tr_shop *shop, const char *asked) {
    bool is_own = shop->store && (!asked || strcmp(asked, shop->store) == 0);
    return (tr_store_place){.where = is_own ? shop->store : asked,
                            .in_folder = is_own && shop->has_files_in_folder,
                            .folder = is_own ? shop->files_folder : NULL};
}

/* ---- names ---- */

static bool is_file(const char *path) {
    struct stat about;
    return stat(path, &about) == 0 && !S_ISDIR(about.st_mode);
}

static bool is_path(const tr_shop *shop, const char *name) {
    return !shop->path || strchr(name, '/') || is_file(name);
}

char *tr_shop_path(const tr_shop *shop, tr_shop_folder folder, const char *name, tr_error *err) {
    char *path = is_path(shop, name)
                     ? strdup(name)
                     : join(shop->folders[folder], name, tr_name_is_yaml(name) ? "" : ".yaml");
    if (!path) tr_fail_memory(err);
    return path;
}

/* "a, b, c" as far as there is room: without .yaml, as they are asked for. */
static void join_names(char **names, int n, char *out, size_t size) {
    *out = 0;
    for (int i = 0; i < n; i++) {
        size_t used = strlen(out);
        size_t length = strlen(names[i]);
        const char *dot = strrchr(names[i], '.');
        if (dot) length = (size_t)(dot - names[i]);
        if (used + length + sizeof ", ..." > size) {
            snprintf(out + used, size - used, "%s", ", ...");
            return;
        }
        snprintf(out + used, size - used, "%s%.*s", i > 0 ? ", " : "", (int)length, names[i]);
    }
}

bool tr_shop_has(const tr_shop *shop, tr_shop_folder folder, const char *name, const char *path,
                 tr_error *err) {
    if (is_path(shop, name) || tr_file_is_there(path)) return true;
    char **names;
    char list[200] = "";
    int n = tr_listing(shop->folders[folder], tr_name_is_yaml, &names);
    if (n < 0 && errno == ENOMEM) return tr_fail_memory(err);
    join_names(names, n, list, sizeof list);
    if (n > 0) tr_listing_release(names, n);
    return *list ? tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                              "does not exist; choose one of those there: %s", list)
                 : tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                              "does not exist, and there is no other file in its folder");
}

char *tr_shop_named(tr_shop_folder folder, const char *name, tr_error *err) {
    tr_shop shop = {0};
    bool is_named = !strchr(name, '/') && !is_file(name);
    if (is_named && !tr_shop_find("", &shop, err)) return NULL;
    if (is_named && !shop.path && !tr_name_is_yaml(name)) {
        tr_fail_at(
            err, TR_NO_FILE, name, 0, NULL,
            "is no file, and there is no shop here in which it could have this name: go into "
            "the shop's folder, or give the path of a file");
        return NULL;
    }
    char *path = tr_shop_path(&shop, folder, name, err);
    if (path && !tr_shop_has(&shop, folder, name, path, err)) {
        free(path);
        path = NULL;
    }
    tr_shop_release(&shop);
    return path;
}

char *tr_shop_place(const tr_shop *shop, tr_shop_folder folder, const char *file, tr_error *err) {
    char *path = join(shop->folders[folder], file, "");
    if (!path) tr_fail_memory(err);
    return path;
}

/* ---- photos ---- */

char *tr_shop_photo_folder(const tr_shop *shop, const char *job_file, tr_error *err) {
    const char *name = tr_path_name(job_file);
    int n = (int)(tr_name_is_yaml(name) ? strrchr(name, '.') - name : (long)strlen(name));
    size_t size = strlen(name) + 1;
    char *stem = malloc(size);
    char *folder = NULL;
    if (stem) {
        snprintf(stem, size, "%.*s", n, name);
        folder = join(shop->folders[TR_SHOP_PHOTOS], stem, "");
    }
    free(stem);
    if (!folder) tr_fail_memory(err);
    return folder;
}

static bool is_photo(const char *name) {
    static const char *const ENDINGS[] = {".jpg", ".jpeg", ".heic", ".heif", ".avif", ".png"};
    const char *dot = strrchr(name, '.');
    for (size_t i = 0; dot && *name != '.' && i < sizeof ENDINGS / sizeof *ENDINGS; i++) {
        if (strcasecmp(dot, ENDINGS[i]) == 0) return true;
    }
    return false;
}

static bool list_photos(const char *folder, char ***photos, int *n, tr_error *err) {
    char **files;
    int n_files = tr_listing(folder, is_photo, &files);
    if (n_files < 0) {
        if (errno == ENOENT) return true;
        return errno == ENOMEM
                   ? tr_fail_memory(err)
                   : tr_fail_at(err, TR_NO_FILE, folder, 0, NULL,
                                "is not a folder that can be read; the job's photos belong in it");
    }
    *photos = tr_array(n_files, sizeof **photos);
    bool ok = *photos || tr_fail_memory(err);
    if (ok && n_files > TR_MAX_PHOTOS) {
        ok = tr_fail_at(err, TR_BAD_INPUT, folder, 0, NULL,
                        "holds %d photos, more than the %d of one measurement; leave out the "
                        "weakest",
                        n_files, TR_MAX_PHOTOS);
    }
    for (int i = 0; i < n_files && ok; i++) {
        (*photos)[i] = join(folder, files[i], "");
        ok = (*photos)[i] || tr_fail_memory(err);
        *n += ok;
    }
    tr_listing_release(files, n_files);
    return ok;
}

bool tr_shop_photos(const tr_shop *shop, const char *job_file, char ***photos, int *n,
                    tr_error *err) {
    *photos = NULL;
    *n = 0;
    if (!shop->path) return true;
    char *folder = tr_shop_photo_folder(shop, job_file, err);
    bool ok = folder && list_photos(folder, photos, n, err);
    free(folder);
    if (ok) return true;
    tr_shop_photos_release(*photos, *n);
    *photos = NULL;
    *n = 0;
    return false;
}

static bool fail_no_photos(const tr_shop *shop, const char *job_file, tr_error *err) {
    char *folder = tr_shop_photo_folder(shop, job_file, err);
    if (folder) {
        tr_fail_at(err, TR_BAD_INPUT, job_file, 0, NULL,
                   "names no photos, and there are none in %.160s; put them there", folder);
    }
    free(folder);
    return false;
}

bool tr_shop_photos_of(const char *job_file, char ***photos, int *n, tr_error *err) {
    tr_shop shop;
    *photos = NULL;
    *n = 0;
    bool ok =
        tr_shop_of_file(job_file, &shop, err) && tr_shop_photos(&shop, job_file, photos, n, err);
    if (ok && shop.path && *n == 0) ok = fail_no_photos(&shop, job_file, err);
    tr_shop_release(&shop);
    return ok;
}

void tr_shop_photos_release(char **photos, int n) {
    for (int i = 0; i < n; i++) free(photos[i]);
    free(photos);
}
