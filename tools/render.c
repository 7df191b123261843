/* render SCENE.yaml --out FOLDER [--photo NAME]... [--threads N]: photographs of a made-up
 * workshop, and truth.json. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/number.h"
#include "base/parallel.h"
#include "tools/render/render.h"

enum { EXIT_USAGE = 64 };

typedef struct {
    const char *scene, *folder, *photo; /* photo: only this one, NULL: all */
    int threads;
} options;

static int usage(void) {
    fputs("usage: render SCENE.yaml --out FOLDER [--photo NAME] [--threads N]\n", stderr);
    return EXIT_USAGE;
}

static bool read_options(int argc, char **argv, options *out) {
    *out = (options){.threads = 1};
    for (int i = 1; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : NULL;
        long threads;
        if (argv[i][0] != '-' && !out->scene) {
            out->scene = argv[i];
            continue;
        }
        if (!value) return false;
        if (strcmp(argv[i], "--out") == 0) {
            out->folder = value;
        } else if (strcmp(argv[i], "--photo") == 0) {
            out->photo = value;
        } else if (strcmp(argv[i], "--threads") == 0 && tr_integer_parse(value, &threads) &&
                   threads >= 1 && threads <= TR_MAX_THREADS) {
            out->threads = (int)threads;
        } else {
            return false;
        }
        i++;
    }
    return out->scene && out->folder;
}

typedef struct {
    const tr_scene *scene;
    const options *options;
} work;

/* folder/file; owned by the caller, NULL when memory ran out. */
static char *path_in(const char *folder, const char *file) {
    size_t size = strlen(folder) + strlen(file) + 2;
    char *path = malloc(size);
    if (path) snprintf(path, size, "%s/%s", folder, file);
    return path;
}

static bool write_photo(const tr_scene *scene, int camera, const char *folder, tr_error *err) {
    char *path = path_in(folder, scene->cameras[camera].file);
    bool ok = path ? tr_scene_photo_write(scene, camera, path, err) : tr_fail_memory(err);
    if (ok) printf("%s\n", path);
    free(path);
    return ok;
}

static bool is_wanted(const work *w, int camera) {
    const char *photo = w->options->photo;
    return !photo || strcmp(photo, w->scene->cameras[camera].file) == 0;
}

static bool take_photo(void *task, void *own, int camera, tr_error *err) {
    (void)own;
    const work *w = task;
    return !is_wanted(w, camera) || write_photo(w->scene, camera, w->options->folder, err);
}

static bool write_photos(const tr_scene *scene, const options *o, tr_error *err) {
    work task = {.scene = scene, .options = o};
    tr_parallel_work w = {.n_items = scene->n_cameras,
                          .workers.n_threads = o->threads,
                          .work = take_photo,
                          .task = &task};
    return tr_parallel(&w, err);
}

static bool make_folder(const char *path, tr_error *err) {
    if (mkdir(path, 0777) == 0 || errno == EEXIST) return true;
    return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "the folder cannot be made: %s",
                      strerror(errno));
}

static bool write_truth(const tr_scene *scene, const char *folder, tr_error *err) {
    char *path = path_in(folder, "truth.json");
    bool ok = path ? tr_scene_truth_write(scene, path, err) : tr_fail_memory(err);
    free(path);
    return ok;
}

int main(int argc, char **argv) {
    options o;
    tr_scene scene;
    tr_error err = {0};
    if (!read_options(argc, argv, &o)) return usage();
    bool ok = tr_scene_read(o.scene, &scene, &err) && make_folder(o.folder, &err) &&
              write_truth(&scene, o.folder, &err) && write_photos(&scene, &o, &err);
    tr_scene_release(&scene);
    if (ok) return EXIT_SUCCESS;
    char text[1024];
    tr_error_print(&err, text, sizeof text);
    fprintf(stderr, "render: %s\n", text);
    return EXIT_FAILURE;
}
