/* What the fuzz targets share. A target is one function over what the program does with bytes from
   outside: libFuzzer calls it with inputs that it makes up (tools/fuzz), and replay.c with those
   that are kept (ctest, any compiler). A target ends the process where the program breaks a promise
   of its headers; what else can go wrong (memory, undefined behaviour) the sanitizers tell. */
#ifndef TR_TESTS_FUZZ_H
#define TR_TESTS_FUZZ_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/error.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* A promise that holds for every input. */
#define FUZZ_CHECK(holds) fuzz_check((holds), #holds, __FILE__, __LINE__)
void fuzz_check(bool holds, const char *what, const char *file, int line);

/* What a reader returned goes with the error: it is set where reading failed, each part of it is
   one printable line of UTF-8, and it says more than nothing. */
void fuzz_check_error(bool ok, const tr_error *err);

/* A file that lives in memory, for readers that take a path. Several may be open at once; number
   (0..15) tells them apart and makes the name: a file can name another by FUZZ_FD + number. */
enum { FUZZ_FD = 100, FUZZ_PATH_SIZE = 32 };
void fuzz_file_open(int number, const uint8_t *data, size_t size, char path[FUZZ_PATH_SIZE]);
void fuzz_file_close(int number);

/* Several files from one input, one after the other, parted by a line that is "====". They are
   named 100, 101, 102 ..., and that is how one names another. Returns their number. */
int fuzz_files_open(const uint8_t *data, size_t size);

#endif
