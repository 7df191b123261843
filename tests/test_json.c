/* base/json.h: what is written is whole, what is read is told from memory that ran out. */
#include "check.h"
#include "faults.h"

#include <stdlib.h>
#include <string.h>

#include "base/json.h"

/* Long enough that jansson's buffers grow while it is written and read. */
static json_t *make_value(void) {
    json_t *whole = json_object();
    json_t *numbers = json_array();
    for (int i = 0; i < 40; i++) {
        char key[32];
        snprintf(key, sizeof key, "a key that is long, %d", i);
        assert_true(tr_json_push(numbers, json_integer(i)));
        assert_true(tr_json_put(whole, key, tr_json_text("a \"text\" with \xc3\xbc and \n in it")));
    }
    assert_true(tr_json_put(whole, "list", numbers));
    return whole;
}

enum { FLAGS = JSON_SORT_KEYS | JSON_COMPACT };

static void round_trip(void **unused) {
    (void)unused;
    size_t size;
    json_t *value = make_value();
    char *text = tr_json_write(value, FLAGS, &size, NULL);
    assert_non_null(text);
    assert_int_equal(size, strlen(text));
    json_t *read = tr_json_read(text, size, NULL);
    assert_true(json_equal(read, value));
    json_decref(read);
    json_decref(value);
    free(text);
}

static void no_json(void **unused) {
    (void)unused;
    static const char *const TEXTS[] = {"",           "{",      "{}\n}", "{\"a\": 1, \"a\": 2}",
                                        "[\"\xff\"]", "[1e999]"};
    for (size_t i = 0; i < sizeof TEXTS / sizeof *TEXTS; i++) {
        tr_error err = {0};
        assert_null(tr_json_read(TEXTS[i], strlen(TEXTS[i]), &err));
        assert_int_equal(err.code, TR_BAD_INPUT);
        assert_int_equal(err.line, i == 2 ? 2 : 1);
        assert_true(*err.text);
    }
}

/* Every allocation in turn, alone and with all that follow. */
static void write_without_memory(void **unused) {
    (void)unused;
    json_t *value = make_value();
    fault_arm(0, false);
    char *text = tr_json_write(value, FLAGS, NULL, NULL);
    long n = fault_disarm();
    assert_non_null(text);
    assert_true(n > 1);
    for (long k = 1; k <= 2 * n; k++) {
        tr_error err = {0};
        fault_arm(k > n ? k - n : k, k > n);
        char *again = tr_json_write(value, FLAGS, NULL, &err);
        fault_disarm();
        if (again) assert_string_equal(again, text);
        assert_int_equal(err.code, again ? TR_OK : TR_NO_MEMORY);
        free(again);
    }
    json_decref(value);
    free(text);
}

static void read_without_memory(void **unused) {
    (void)unused;
    size_t size;
    json_t *value = make_value();
    char *text = tr_json_write(value, FLAGS, &size, NULL);
    fault_arm(0, false);
    json_t *read = tr_json_read(text, size, NULL);
    long n = fault_disarm();
    json_decref(read);
    assert_true(n > 40);
    for (long k = 1; k <= 2 * n; k++) {
        tr_error err = {0};
        fault_arm(k > n ? k - n : k, k > n);
        read = tr_json_read(text, size, &err);
        fault_disarm();
        if (read) assert_true(json_equal(read, value));
        assert_int_equal(err.code, read ? TR_OK : TR_NO_MEMORY);
        json_decref(read);
    }
    json_decref(value);
    free(text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(round_trip),
        cmocka_unit_test(no_json),
        cmocka_unit_test(write_without_memory),
        cmocka_unit_test(read_without_memory),
    };
    return cmocka_run_group_tests_name("json", tests, NULL, NULL);
}
