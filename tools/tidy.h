/* What clang-tidy cannot see from one file alone, told by tools/lint: these three always return
   false. No other program includes this file. */
#include "base/error.h"

#define tr_fail(...) ((tr_fail)(__VA_ARGS__), false)
#define tr_fail_at(...) ((tr_fail_at)(__VA_ARGS__), false)
#define tr_fail_memory(err) ((tr_fail_memory)(err), false)
