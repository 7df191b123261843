#include "base/module.h"

#include <dlfcn.h>
#include <stdio.h>
#include <string.h>

#include "base/language.h"

tr_function tr_module_function(const char *name, const char *function, tr_error *err) {
    char file[64];
    snprintf(file, sizeof file, "trammel-%s.so", name);
    void *module = dlopen(file, RTLD_NOW | RTLD_LOCAL);
    void *symbol = module ? dlsym(module, function) : NULL;
    if (symbol) {
        tr_function found;
        memcpy(&found, &symbol, sizeof found); /* POSIX has the two alike, C has no cast */
        return found;
    }
    const char *why = dlerror();
    tr_fail(err, TR_NO_FILE,
            "a part of the program could not be loaded (%.160s); keep %s beside the program, and "
            "install the libraries that it needs",
            why ? why : TR_N("no reason is given"), file);
    return NULL;
}
