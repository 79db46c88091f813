/* Preloaded into a program: what it does to files whose path begins with DISK_WATCH is noted in DISK_JOURNAL, in order,
   so that a power cut at any moment can be played afterwards; and calls DISK_FAIL_AT .. DISK_FAIL_AT + DISK_FAIL_FOR - 1
   of those that change or sync a database (not a file of acknowledgements, .acks) fail as a dying disk's do.

   A note is: kind, number of bytes of the path, both 32 bits; offset, number of bytes written, both 64 bits; the path;
   the bytes. Kinds: 1 write, 2 sync, 3 cut to `offset`, 4 removed, 5 failed at the monotonic
   time `offset`, ns. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/uio.h>
#include <time.h>
#include <unistd.h>

static ssize_t (*real_pwrite)(int, const void *, size_t, off_t);
static ssize_t (*real_write)(int, const void *, size_t);
static int (*real_fdatasync)(int), (*real_fsync)(int), (*real_ftruncate)(int, off_t), (*real_unlink)(const char *);
static const char *watched;
static int journal = -1;
static long calls, fail_at = -1, fail_for;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

__attribute__((constructor)) static void begin(void) {
  real_pwrite = (ssize_t (*)(int, const void *, size_t, off_t))dlsym(RTLD_NEXT, "pwrite64");
  real_write = (ssize_t (*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write");
  real_fdatasync = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
  real_fsync = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
  real_ftruncate = (int (*)(int, off_t))dlsym(RTLD_NEXT, "ftruncate64");
  real_unlink = (int (*)(const char *))dlsym(RTLD_NEXT, "unlink");
  watched = getenv("DISK_WATCH");
  const char *notes = getenv("DISK_JOURNAL"), *at = getenv("DISK_FAIL_AT"), *many = getenv("DISK_FAIL_FOR");
  if (notes) journal = open(notes, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
  if (at) fail_at = atol(at);
  fail_for = many ? atol(many) : 1;
}

static int path_of(int fd, char *path, size_t size) {
  char name[64];
  snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
  const ssize_t length = watched ? readlink(name, path, size - 1) : -1;
  if (length < 0) return 0;
  path[length] = 0;
  return strncmp(path, watched, strlen(watched)) == 0;
}

static void note(uint32_t kind, const char *path, int64_t offset, const void *bytes, int64_t size) {
  if (journal < 0) return;
  uint32_t head[2] = {kind, (uint32_t)strlen(path)};
  int64_t where[2] = {offset, size};
  struct iovec parts[4] = {{head, sizeof head}, {where, sizeof where}, {(void *)path, head[1]}, {(void *)bytes, size}};
  if (writev(journal, parts, size ? 4 : 3) < 0) _exit(77);
}

/* Whether this call is one of those that fail. */
static int dies(const char *path) {
  if (strstr(path, ".acks")) return 0;
  calls++;
  if (fail_at < 0 || calls < fail_at || calls >= fail_at + fail_for) return 0;
  struct timespec now;
  clock_gettime(CLOCK_MONOTONIC, &now);
  note(5, path, now.tv_sec * 1000000000LL + now.tv_nsec, 0, 0);
  errno = EIO;
  return 1;
}

ssize_t pwrite64(int fd, const void *bytes, size_t size, off_t offset) {
  char path[512];
  if (!path_of(fd, path, sizeof path)) return real_pwrite(fd, bytes, size, offset);
  pthread_mutex_lock(&lock);
  ssize_t done = dies(path) ? -1 : real_pwrite(fd, bytes, size, offset);
  if (done > 0) note(1, path, offset, bytes, done);
  pthread_mutex_unlock(&lock);
  return done;
}

ssize_t write(int fd, const void *bytes, size_t size) {
  char path[512];
  if (!path_of(fd, path, sizeof path)) return real_write(fd, bytes, size);
  pthread_mutex_lock(&lock);
  const off_t offset = lseek(fd, 0, SEEK_CUR);
  ssize_t done = dies(path) ? -1 : real_write(fd, bytes, size);
  if (done > 0) note(1, path, offset, bytes, done);
  pthread_mutex_unlock(&lock);
  return done;
}

static int synced(int fd, int (*real)(int)) {
  char path[512];
  if (!path_of(fd, path, sizeof path)) return real(fd);
  pthread_mutex_lock(&lock);
  int done = dies(path) ? -1 : real(fd);
  if (done == 0) note(2, path, 0, 0, 0);
  pthread_mutex_unlock(&lock);
  return done;
}

int fdatasync(int fd) { return synced(fd, real_fdatasync); }
int fsync(int fd) { return synced(fd, real_fsync); }

int ftruncate64(int fd, off_t size) {
  char path[512];
  if (!path_of(fd, path, sizeof path)) return real_ftruncate(fd, size);
  pthread_mutex_lock(&lock);
  int done = dies(path) ? -1 : real_ftruncate(fd, size);
  if (done == 0) note(3, path, size, 0, 0);
  pthread_mutex_unlock(&lock);
  return done;
}

int unlink(const char *path) {
  pthread_mutex_lock(&lock);
  int done = real_unlink(path);
  if (done == 0 && watched && strncmp(path, watched, strlen(watched)) == 0) note(4, path, 0, 0, 0);
  pthread_mutex_unlock(&lock);
  return done;
}
