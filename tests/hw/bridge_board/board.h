// A board in software: pins, their interrupts, a clock, a serial port. See board.cpp.
#pragma once
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

enum { LOW = 0, HIGH = 1 };
enum { INPUT = 0, OUTPUT = 1, INPUT_PULLUP = 2 };
enum { CHANGE = 1, FALLING = 2, RISING = 3 };

uint32_t micros();
void pinMode(int pin, int mode);
void digitalWrite(int pin, int level);
int digitalRead(int pin);
inline int digitalPinToInterrupt(int pin) { return pin; }
void attachInterrupt(int pin, void (*call)(), int mode);
void noInterrupts();
void interrupts();

struct SerialPort {
  void begin(unsigned long baud);
  size_t write(const char *bytes, size_t size);
};
extern SerialPort Serial;

void setup();
void loop();
