/* Runs a sketch: board FIRST_US END_US LOOP_US < events

   An event is a line `AT PIN LEVEL`, us from the start, PIN + 64 for an edge that no interrupt notices; `R AT PIN LEVEL` counts from each time that the sketch pulls the
   request pin (the first one it ever drives) low. An interrupt comes at once, or when they are allowed again. What the
   sketch writes is the standard output; what it does to the request pin, and when, the standard error. */
#include "board.h"

#include <stdlib.h>

struct Event {
  long at;
  int pin, level;
};

static Event events[200000], answer[2000];
static long eventCount, answerCount, next, nextAnswer, askedAt = -1, clockUs;
static uint32_t first;
static int levels[64], modes[64], driven[64], armed[64];
static void (*calls[64])();
static bool allowed = true;
static int waiting[64];
SerialPort Serial;

uint32_t micros() { return first + (uint32_t)clockUs; }
void noInterrupts() { allowed = false; }
void interrupts() {
  allowed = true;
  for (int pin = 0; pin < 64; pin++) {
    if (waiting[pin]) {
      waiting[pin] = 0;
      calls[pin]();
    }
  }
}
int digitalRead(int pin) { return levels[pin]; }
void attachInterrupt(int pin, void (*call)(), int mode) {
  calls[pin] = call;
  armed[pin] = mode;
}
void SerialPort::begin(unsigned long) {}
size_t SerialPort::write(const char *bytes, size_t size) { return fwrite(bytes, 1, size, stdout); }

static void drive(int pin) {
  if (modes[pin] == OUTPUT && driven[pin] == LOW) {
    fprintf(stderr, "low %ld\n", clockUs);
    askedAt = clockUs;
    nextAnswer = 0;
  } else {
    fprintf(stderr, "%s %ld\n", modes[pin] == OUTPUT ? "HIGH" : "free", clockUs);
  }
}
void pinMode(int pin, int mode) {
  const bool was = modes[pin] == OUTPUT;
  modes[pin] = mode;
  if (was || mode == OUTPUT) drive(pin);
}
void digitalWrite(int pin, int level) {
  driven[pin] = level;
  if (modes[pin] == OUTPUT) drive(pin);
}

static void happen(const Event &event) {
  if (event.pin >= 64) {
    levels[event.pin - 64] = event.level;
    return;
  }
  const int before = levels[event.pin];
  levels[event.pin] = event.level;
  if (before == event.level || !calls[event.pin]) return;
  const int mode = armed[event.pin];
  if (mode == CHANGE || (mode == RISING) == (event.level == HIGH)) {
    if (allowed) {
      calls[event.pin]();
    } else {
      waiting[event.pin] = 1;
    }
  }
}

int main(int, char **given) {
  char line[80];
  while (fgets(line, sizeof line, stdin)) {
    Event event;
    if (line[0] == 'R') {
      sscanf(line + 1, "%ld %d %d", &event.at, &event.pin, &event.level);
      answer[answerCount++] = event;
    } else {
      sscanf(line, "%ld %d %d", &event.at, &event.pin, &event.level);
      events[eventCount++] = event;
    }
  }
  first = (uint32_t)strtoul(given[1], 0, 10);
  const long end = atol(given[2]), step = atol(given[3]);
  while (next < eventCount && events[next].at < 0) levels[events[next].pin] = events[next].level, next++;
  setup();
  for (long now = 0; now < end; now += step) {
    while (true) {
      const long plain = next < eventCount ? events[next].at : end + 1;
      const long asked = askedAt >= 0 && nextAnswer < answerCount ? askedAt + answer[nextAnswer].at : end + 1;
      if (plain > now && asked > now) break;
      if (plain <= asked) {
        clockUs = plain;
        happen(events[next++]);
      } else {
        clockUs = asked;
        happen(answer[nextAnswer++]);
      }
    }
    clockUs = now;
    loop();
  }
}
