/* Every fuzz target over the inputs that are kept: seeds/NAME, and found/NAME, which once failed.
 */
#include "tests/check.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"

#define TARGETS(T)                                                                                 \
    T(sheet) T(lens) T(layout) T(job) T(survey) T(jpeg) T(png) T(heif) T(exif) T(marks)

typedef int target_function(const uint8_t *data, size_t size);
#define DECLARE(name) target_function fuzz_##name;
TARGETS(DECLARE)

enum { PATH_SIZE = 1024 };

/* The folder `kind` of the targets, or of one of them. */
static void folder_of(const char *kind, const char *name, char out[PATH_SIZE]) {
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    assert_true(snprintf(out, PATH_SIZE, "%s/tests/fuzz/%s/%s", source, kind, name) < PATH_SIZE);
}

/* How many files were run. A folder that is not there holds none. */
static int replay(target_function *target, const char *kind, const char *name) {
    char folder[PATH_SIZE];
    int n = 0;
    folder_of(kind, name, folder);
    DIR *dir = opendir(folder);
    for (const struct dirent *entry; dir && (entry = readdir(dir)) != NULL;) {
        char path[2 * PATH_SIZE];
        uint8_t *data;
        size_t size;
        if (entry->d_name[0] == '.') continue;
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        assert_true(tr_file_read(path, 1 << 24, &data, &size, NULL));
        /* A copy without the reader's final 0, so that a read beyond the end is noticed. */
        uint8_t *exact = malloc(size > 0 ? size : 1);
        assert_non_null(exact);
        memcpy(exact, data, size);
        free(data);
        print_message("%s/%s/%s\n", kind, name, entry->d_name);
        assert_int_equal(target(exact, size), 0);
        free(exact);
        n++;
    }
    if (dir) closedir(dir);
    return n;
}

#define TEST(name)                                                                                 \
    static void test_##name(void **state) {                                                        \
        (void)state;                                                                               \
        assert_true(replay(fuzz_##name, "seeds", #name) > 0);                                      \
        replay(fuzz_##name, "found", #name);                                                       \
    }
TARGETS(TEST)

/* No folder of inputs is passed over because its target is not in the list above. */
static void all_inputs_have_a_target(void **state) {
    (void)state;
#define NAME(name) #name,
    static const char *const names[] = {TARGETS(NAME)};
    static const char *const kinds[] = {"seeds", "found"};
    for (int k = 0; k < 2; k++) {
        char folder[PATH_SIZE];
        folder_of(kinds[k], "", folder);
        DIR *dir = opendir(folder);
        for (const struct dirent *entry; dir && (entry = readdir(dir)) != NULL;) {
            bool is_known = entry->d_name[0] == '.';
            for (size_t i = 0; i < sizeof names / sizeof *names; i++)
                is_known = is_known || strcmp(entry->d_name, names[i]) == 0;
            if (!is_known) fail_msg("%s/%s has no target", kinds[k], entry->d_name);
        }
        if (dir) closedir(dir);
    }
}

int main(void) {
#define ENTRY(name) cmocka_unit_test(test_##name),
    const struct CMUnitTest tests[] = {
        TARGETS(ENTRY) cmocka_unit_test(all_inputs_have_a_target),
    };
    return cmocka_run_group_tests_name("fuzz_replay", tests, NULL, NULL);
}
