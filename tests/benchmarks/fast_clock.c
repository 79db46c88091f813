/*
 * A clock that runs FAST_CLOCK_SPEED times as fast, for one process: cc -shared
 * -fPIC -o fast_clock.so fast_clock.c, then LD_PRELOAD. Both clocks begin at
 * FAST_CLOCK_FROM (ns of the monotonic clock when it is started); the wall clock then
 * shows FAST_CLOCK_WALL (s since 1970). Every wait of the process is as much shorter,
 * so that it does in an hour what it does in weeks.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <poll.h>
#include <semaphore.h>
#include <stdlib.h>
#include <sys/epoll.h>
#include <sys/select.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#define NS 1000000000LL
typedef long long ns;

static double speed = 1;
static ns from, wall;

__attribute__((constructor)) static void begin(void)
{
	if (!getenv("FAST_CLOCK_SPEED"))
		return;
	speed = atof(getenv("FAST_CLOCK_SPEED"));
	from = atoll(getenv("FAST_CLOCK_FROM"));
	wall = atoll(getenv("FAST_CLOCK_WALL")) * NS;
}

static ns ns_of(const struct timespec *t)
{
	return t->tv_sec * NS + t->tv_nsec;
}

static void put(struct timespec *t, ns at)
{
	*t = (struct timespec){ at / NS, at % NS };
}

int clock_gettime(clockid_t id, struct timespec *t)
{
	int real = id == CLOCK_REALTIME || id == CLOCK_REALTIME_COARSE;
	int kind = real ? CLOCK_MONOTONIC : id;
	int done = syscall(SYS_clock_gettime, kind, t);

	if (done || id == CLOCK_PROCESS_CPUTIME_ID || id == CLOCK_THREAD_CPUTIME_ID)
		return done;
	put(t, (real ? wall : from) + (ns)((ns_of(t) - from) * speed));
	return 0;
}

int gettimeofday(struct timeval *restrict t, void *restrict zone)
{
	struct timespec now;

	clock_gettime(CLOCK_REALTIME, &now);
	*t = (struct timeval){ now.tv_sec, now.tv_nsec / 1000 };
	return 0;
}

time_t time(time_t *t)
{
	struct timespec now;

	clock_gettime(CLOCK_REALTIME, &now);
	if (t)
		*t = now.tv_sec;
	return now.tv_sec;
}

static int shorter(int ms)
{
	return ms <= 0 ? ms : (int)(ms / speed) + 1;
}

/* a moment of the fast clock by this machine's monotonic one */
static struct timespec true_moment(clockid_t id, const struct timespec *t)
{
	struct timespec out;

	put(&out, from + (ns)((ns_of(t) - (id == CLOCK_REALTIME ? wall : from)) / speed));
	return out;
}

int epoll_wait(int fd, struct epoll_event *events, int most, int ms)
{
	return syscall(SYS_epoll_pwait, fd, events, most, shorter(ms), NULL, 8);
}

int poll(struct pollfd *fds, nfds_t count, int ms)
{
	struct timespec t = { shorter(ms) / 1000, shorter(ms) % 1000 * 1000000L };

	return ppoll(fds, count, ms < 0 ? NULL : &t, NULL);
}

int select(int count, fd_set *restrict in, fd_set *restrict out, fd_set *restrict odd,
	   struct timeval *restrict t)
{
	struct timespec wait;

	if (t)
		put(&wait, (ns)((t->tv_sec * NS + t->tv_usec * 1000) / speed));
	return pselect(count, in, out, odd, t ? &wait : NULL, NULL);
}

int clock_nanosleep(clockid_t id, int flags, const struct timespec *t,
		    struct timespec *left)
{
	struct timespec wait;

	if (flags & TIMER_ABSTIME)
		wait = true_moment(id, t);
	else
		put(&wait, (ns)(ns_of(t) / speed));
	return syscall(SYS_clock_nanosleep, CLOCK_MONOTONIC, flags, &wait, left) ? 4 : 0;
}

int nanosleep(const struct timespec *t, struct timespec *left)
{
	return clock_nanosleep(CLOCK_MONOTONIC, 0, t, left) ? -1 : 0;
}

int usleep(useconds_t us)
{
	struct timespec t = { us / 1000000, us % 1000000 * 1000 };

	return nanosleep(&t, NULL);
}

int sem_clockwait(sem_t *restrict sem, clockid_t id, const struct timespec *restrict t)
{
	static int (*real)(sem_t *, clockid_t, const struct timespec *);
	struct timespec at = true_moment(id, t);

	if (!real)
		real = dlsym(RTLD_NEXT, "sem_clockwait");
	return real(sem, CLOCK_MONOTONIC, &at);
}

int sem_timedwait(sem_t *restrict sem, const struct timespec *restrict t)
{
	return sem_clockwait(sem, CLOCK_REALTIME, t);
}
