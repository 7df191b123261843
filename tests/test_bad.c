/* Files that must be refused: each folder of tests/bad holds one, and in `error` the exact message.
   The file is trammel.yaml, job.yaml, layout.yaml, lens.yaml or sheet.yaml; the first that is there
   is read, as what its name says. A new case needs no code. */
#include "check.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "job/job.h"
#include "lens/profile.h"
#include "shop/shop.h"

enum { FEWEST_CASES = 100, MESSAGE_SIZE = 1024 };

static bool is_there(const char *path) {
    return access(path, F_OK) == 0;
}

static bool is_zero(const void *data, size_t size) {
    const unsigned char *bytes = data;
    for (size_t i = 0; i < size; i++) {
        if (bytes[i] != 0) return false;
    }
    return true;
}

/* True where the file of the current folder is refused and nothing is given out. */
static bool is_refused(tr_error *err) {
    if (is_there(TR_SHOP_FILE)) {
        tr_shop shop;
        return !tr_shop_read(TR_SHOP_FILE, &shop, err) && is_zero(&shop, sizeof shop);
    }
    if (is_there("job.yaml")) {
        tr_job job;
        return !tr_job_read("job.yaml", &job, err) && is_zero(&job, sizeof job);
    }
    if (is_there("layout.yaml")) {
        tr_layout layout;
        return !tr_layout_read("layout.yaml", &layout, err) && is_zero(&layout, sizeof layout);
    }
    if (is_there("lens.yaml")) {
        tr_lens lens;
        return !tr_lens_profile_read("lens.yaml", &lens, err) && is_zero(&lens, sizeof lens);
    }
    tr_sheet sheet;
    return !tr_sheet_read("sheet.yaml", &sheet, err) && is_zero(&sheet, sizeof sheet);
}

/* The wanted message, without the newline at its end; "" where there is none. */
static void read_wanted(char wanted[MESSAGE_SIZE]) {
    uint8_t *data = NULL;
    size_t size = 0;
    wanted[0] = 0;
    if (tr_file_read("error", MESSAGE_SIZE - 1, &data, &size, NULL)) {
        while (size > 0 && data[size - 1] == '\n') size--;
        snprintf(wanted, MESSAGE_SIZE, "%.*s", (int)size, (const char *)data);
    }
    free(data);
}

static bool is_as_wanted(const char *name) {
    char wanted[MESSAGE_SIZE];
    char message[MESSAGE_SIZE] = "";
    tr_error err = {0};
    bool refused = is_refused(&err);
    tr_error_print(&err, message, sizeof message);
    read_wanted(wanted);
    if (refused && wanted[0] && strcmp(message, wanted) == 0) return true;
    print_error("bad/%s: %s\n  gives  %s\n  wanted %s\n", name, refused ? "refused" : "NOT REFUSED",
                message, wanted);
    return false;
}

static int is_case(const struct dirent *entry) {
    return entry->d_name[0] != '.';
}

static void every_bad_file_is_refused_with_its_message(void **state) {
    (void)state;
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    assert_int_equal(chdir(source), 0);
    assert_int_equal(chdir("tests/bad"), 0);
    struct dirent **cases = NULL;
    int n = scandir(".", &cases, is_case, alphasort);
    int n_wrong = 0;
    for (int i = 0; i < n; i++) {
        assert_int_equal(chdir(cases[i]->d_name), 0);
        if (!is_as_wanted(cases[i]->d_name)) n_wrong++;
        assert_int_equal(chdir(".."), 0);
        free(cases[i]);
    }
    free(cases);
    assert_true(n >= FEWEST_CASES);
    assert_int_equal(n_wrong, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_bad_file_is_refused_with_its_message),
    };
    return cmocka_run_group_tests_name("bad", tests, NULL, NULL);
}
