/* Stands between a program and the C library's clock of the wall: built by a test as a shared library, taken in by LD_PRELOAD.
 * Nobody's real clock is touched.
 *
 * CLOCK_SHIM names a file of eight bytes: the seconds by which CLOCK_REALTIME is off, read at every call. The most negative
 * number makes it jump an hour ahead and back from call to call. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <time.h>

int clock_gettime(clockid_t which, struct timespec *time) {
    static int (*real)(clockid_t, struct timespec *);
    static const volatile int64_t *off;
    static unsigned calls;
    if (!real)
        real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    int result = real(which, time);
    const char *path = getenv("CLOCK_SHIM");
    if (result || which != CLOCK_REALTIME || !path)
        return result;
    if (!off) {
        int file = open(path, O_RDONLY | O_CLOEXEC);
        void *page = mmap(NULL, sizeof *off, PROT_READ, MAP_SHARED, file, 0);
        if (page == MAP_FAILED)
            abort();
        off = page;
    }
    if (*off == INT64_MIN)
        time->tv_sec += (calls++ & 1) ? 3600 : -3600;
    else
        time->tv_sec += *off;
    return 0;
}
