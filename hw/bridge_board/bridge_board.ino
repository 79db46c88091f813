/* A microcontroller board between gauge and scale on one side and the computer on the other.

   It counts the two waves of a scale or encoder, takes the gauge's frame as it comes, and tells both by one clock:

       $BRG,17,123456789,-20480,2D4000*01
            |  |         |      the gauge's bits, four a hexadecimal digit, the first of each four worth 1;
            |  |         |      nothing where this line only says where the scale is
            |  |         the scale, in counts
            |  microseconds of this board's clock: of the frame's first bit, or of now
            number of the line

   What the bits mean is the computer's business, so this is the same for all gauges of a clock and a data line. It
   never guesses: a frame of a wrong number of bits goes out as "?", which the computer refuses and counts; after an
   edge of the scale was missed nobody knows where it is, so nothing at all is told for a second, and a pass that was
   being made is broken.

   For boards that are programmed with setup() and loop(), and have an interrupt at each of these pins. In front of the
   pins stands what hw/INSTRUMENTS.md draws. Fit the numbers below to your wiring, load it, and set in the settings:
   profile = "bridge", gauge = "sync24" (or the other), baud = 115200, settle = "2 s".

   It is tested against a board in software, with the gauges' published timings; on no real board yet. */

#ifndef SCALE_A
#define SCALE_A 2            // the scale's or encoder's two waves; -1: there is none
#define SCALE_B 3
#endif
#ifndef GAUGE_CLOCK
#define GAUGE_CLOCK 4        // -1: there is no gauge
#define GAUGE_DATA 5
#endif
#ifndef GAUGE_REQUEST
#define GAUGE_REQUEST -1     // the pin at REQ of a 52-bit gauge; -1: the gauge sends by itself
#endif
#ifndef GAUGE_INVERTED
#define GAUGE_INVERTED 1     // a transistor on each line turns both over
#endif
#ifndef GAUGE_BIT_ON_RISING
#define GAUGE_BIT_ON_RISING 1  // edge of the gauge's own clock at which a bit stands: 24-bit 1, all others 0
#endif

const uint32_t SPEED = 115200;       // baud
const uint32_t PAUSE_US = 5000;      // a pause of the clock so long ends a frame
const uint32_t LINE_EVERY_US = 10000;   // so often is told where the scale is, whatever the gauge does
const uint32_t ASK_EVERY_US = 200000;   // of a gauge that wants to be asked
const uint32_t ANSWER_US = 300000;      // it may take so long to begin
const uint32_t SILENT_US = 1000000;     // after a missed edge
const uint8_t MOST_BITS = 64;

volatile int32_t count = 0;
volatile bool missed = false;      // an edge of the scale
volatile uint8_t state = 0;        // of the scale's waves, 2 A + B

volatile uint8_t nibbles[MOST_BITS / 4];
volatile uint8_t bits = 0;         // of the frame that is coming
volatile uint32_t firstBit = 0, lastBit = 0;   // us
volatile int32_t countThen = 0;

bool whole = false;                // a pause was seen: what comes next is not the rest of something
bool asking = false, silent = false;
uint32_t asked = 0, told = 0, silentSince = 0;
uint16_t number = 0;

uint8_t scaleState() {
  return (digitalRead(SCALE_A) == HIGH ? 2 : 0) + (digitalRead(SCALE_B) == HIGH ? 1 : 0);
}

void onScale() {
  // what each pair of states adds, old state first: A leading B counts up, 2 is both at once
  static const int8_t STEPS[16] = {0, -1, 1, 2, 1, 0, 2, -1, -1, 2, 0, 1, 2, 1, -1, 0};
  const uint8_t now = scaleState();
  const int8_t step = STEPS[4 * state + now];
  state = now;
  if (step == 2) {
    missed = true;
  } else {
    count = count + step;
  }
}

void onClock() {
  const bool one = (digitalRead(GAUGE_DATA) == HIGH) != (GAUGE_INVERTED != 0);
  const uint32_t now = micros();
  if (bits != 0 && now - lastBit > PAUSE_US) {
    bits = 0;  // the frame before was not taken in time: it is lost, not joined with this one
  }
  if (bits == 0) {
    firstBit = now;
    countThen = count;
  }
  if (bits < MOST_BITS) {
    const uint8_t place = bits / 4;
    if (bits % 4 == 0) {
      nibbles[place] = 0;
    }
    if (one) {
      nibbles[place] = nibbles[place] | (1 << (bits % 4));
    }
  }
  if (bits < 255) {
    bits = bits + 1;
  }
  lastBit = now;
}

void sendLine(uint32_t at, int32_t where, const char *gauge) {
  char line[72];
  snprintf(line, sizeof line, "$BRG,%u,%lu,%ld,%s", (unsigned)number, (unsigned long)at, (long)where, gauge);
  number = number + 1;
  uint8_t sum = 0;
  size_t length = 1;
  while (line[length] != '\0') {
    sum = sum ^ (uint8_t)line[length];
    length = length + 1;
  }
  snprintf(line + length, sizeof line - length, "*%02X\r\n", (unsigned)sum);
  Serial.write(line, length + 5);
}

void takeFrame() {
  uint8_t copy[MOST_BITS / 4];
  noInterrupts();
  const uint8_t many = bits;
  const bool paused = micros() - lastBit > PAUSE_US;
  const bool ended = many != 0 && paused;
  const uint32_t at = firstBit;
  const int32_t where = countThen;
  if (ended) {
    for (uint8_t place = 0; place < MOST_BITS / 4; place++) {
      copy[place] = nibbles[place];
    }
    bits = 0;
  }
  interrupts();
  if (!ended) {
    whole = whole || paused;
    return;
  }
  if (!whole) {
    whole = true;  // it may have been half over when we came
    return;
  }
  char word[MOST_BITS / 4 + 1] = "?";
  if (many % 4 == 0 && many <= MOST_BITS) {
    for (uint8_t place = 0; place < many / 4; place++) {
      word[place] = "0123456789ABCDEF"[copy[place]];
    }
    word[many / 4] = '\0';
  }
  sendLine(at, where, word);
}

void ask() {
  const uint32_t now = micros();
  noInterrupts();
  const bool answering = bits != 0;
  interrupts();
  if (asking && (answering || now - asked > ANSWER_US)) {
    pinMode(GAUGE_REQUEST, INPUT);  // let go, never driven high: the gauge's own level is below ours
    asking = false;
  } else if (!asking && !answering && now - asked > ASK_EVERY_US) {
    digitalWrite(GAUGE_REQUEST, LOW);
    pinMode(GAUGE_REQUEST, OUTPUT);
    asking = true;
    asked = now;
  }
}

void setup() {
  Serial.begin(SPEED);
  lastBit = micros();
  if (SCALE_A >= 0) {
    pinMode(SCALE_A, INPUT_PULLUP);
    pinMode(SCALE_B, INPUT_PULLUP);
    state = scaleState();
    attachInterrupt(digitalPinToInterrupt(SCALE_A), onScale, CHANGE);
    attachInterrupt(digitalPinToInterrupt(SCALE_B), onScale, CHANGE);
  }
  if (GAUGE_CLOCK >= 0) {
    pinMode(GAUGE_CLOCK, INPUT);
    pinMode(GAUGE_DATA, INPUT);
    const bool rising = (GAUGE_BIT_ON_RISING != 0) != (GAUGE_INVERTED != 0);
    attachInterrupt(digitalPinToInterrupt(GAUGE_CLOCK), onClock, rising ? RISING : FALLING);
  }
  if (GAUGE_REQUEST >= 0) {
    pinMode(GAUGE_REQUEST, INPUT);
  }
}

void loop() {
  const uint32_t now = micros();
  if (missed) {
    missed = false;
    silent = true;
    silentSince = now;
  }
  if (silent) {
    noInterrupts();
    bits = 0;
    interrupts();
    whole = false;
    silent = now - silentSince < SILENT_US;
    return;
  }
  if (GAUGE_CLOCK >= 0) {
    takeFrame();
  }
  if (GAUGE_REQUEST >= 0) {
    ask();
  }
  if (SCALE_A >= 0 && now - told >= LINE_EVERY_US) {
    told = now;
    noInterrupts();
    const int32_t where = count;
    interrupts();
    sendLine(micros(), where, "");
  }
}
