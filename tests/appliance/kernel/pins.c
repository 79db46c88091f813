// SPDX-License-Identifier: GPL-2.0
/*
 * Simulated pins of a Pi for the appliance rig: a GPIO chip of 64 lines with
 * interrupts, at whose far side a test plays timed edges and sees what was driven.
 * The distribution's kernels bring no GPIO simulator.
 *
 * Its far side is /sys/kernel/debug/pins:
 *   play   a list of steps "NANOSECONDS LINE LEVEL", one a line, in one write; LEVEL
 *          is 0, 1, or z for a line that nobody drives (its resistor decides). The
 *          write returns when the last step was played. Where the machine itself was
 *          late, the rest of the list is moved by as much: edges are never bunched.
 *   driven what the program drove since the last write to it: "NANOSECONDS LINE
 *          LEVEL" by the monotonic clock, z where it let go of the line.
 *   state  each line: LINE in|out LEVEL; at the end, how late the last list was.
 */
#include <linux/completion.h>
#include <linux/debugfs.h>
#include <linux/gpio/driver.h>
#include <linux/hrtimer.h>
#include <linux/irq.h>
#include <linux/module.h>
#include <linux/platform_device.h>
#include <linux/proc_fs.h>
#include <linux/seq_file.h>
#include <linux/slab.h>
#include <linux/string.h>
#include <linux/uaccess.h>

#define LINES 64
#define KEPT 65536 /* driven changes */
#define LONGEST (16 << 20) /* bytes of one list */
#define FLOATS (-1)

static char *label = "pinctrl-bcm2711";
module_param(label, charp, 0444);
MODULE_PARM_DESC(label, "the chip's label, as pinctrl-bcm2835, -bcm2711, -rp1");
static uint revision;
module_param(revision, uint, 0444);
MODULE_PARM_DESC(revision, "a Pi's revision code for /proc/device-tree; 0: none");
static uint others;
module_param(others, uint, 0444);
MODULE_PARM_DESC(others, "chips of other labels that are numbered before it");
static uint slack_ns = 50000;
module_param(slack_ns, uint, 0644);
MODULE_PARM_DESC(slack_ns, "how late a step may be before the rest is moved");

struct step {
	u64 at; /* ns */
	s8 level;
	u8 line;
};

static DEFINE_RAW_SPINLOCK(lock);
static s8 outside[LINES]; /* level that the test drives, or FLOATS */
static u64 value, out, pulled_up; /* driven by the program; one bit a line */
static u64 unmasked, rising, falling;

static struct step *steps, driven[KEPT];
static size_t count, played, changes;
static s64 latest, slipped;
static struct hrtimer timer;
static DECLARE_COMPLETION(over);
static DEFINE_MUTEX(playing);

static struct platform_device *board;
static struct gpio_chip chip, other[8];
static struct dentry *face;
static struct proc_dir_entry *tree;

/* ---- the program's side: a GPIO chip ---- */

static int level_of(unsigned int line)
{
	if (out & BIT_ULL(line))
		return !!(value & BIT_ULL(line));
	if (outside[line] != FLOATS)
		return outside[line];
	return !!(pulled_up & BIT_ULL(line));
}

static int pins_get(struct gpio_chip *gc, unsigned int line)
{
	return level_of(line);
}

static int pins_get_direction(struct gpio_chip *gc, unsigned int line)
{
	return out & BIT_ULL(line) ? GPIO_LINE_DIRECTION_OUT : GPIO_LINE_DIRECTION_IN;
}

/* level: FLOATS where the line becomes an input */
static void drive(unsigned int line, int level)
{
	unsigned long flags;
	u64 bit = BIT_ULL(line);
	int before;

	raw_spin_lock_irqsave(&lock, flags);
	before = out & bit ? !!(value & bit) : FLOATS;
	out = level == FLOATS ? out & ~bit : out | bit;
	value = level > 0 ? value | bit : value & ~bit;
	if (level != before)
		driven[changes++ % KEPT] = (struct step){ ktime_get_ns(), level, line };
	raw_spin_unlock_irqrestore(&lock, flags);
}

static void pins_set(struct gpio_chip *gc, unsigned int line, int level)
{
	if (out & BIT_ULL(line))
		drive(line, !!level);
}

static int pins_input(struct gpio_chip *gc, unsigned int line)
{
	drive(line, FLOATS);
	return 0;
}

static int pins_output(struct gpio_chip *gc, unsigned int line, int level)
{
	drive(line, !!level);
	return 0;
}

static int pins_config(struct gpio_chip *gc, unsigned int line, unsigned long config)
{
	unsigned long flags;
	int done = 0;

	raw_spin_lock_irqsave(&lock, flags);
	switch (pinconf_to_config_param(config)) {
	case PIN_CONFIG_BIAS_PULL_UP:
		pulled_up |= BIT_ULL(line);
		break;
	case PIN_CONFIG_BIAS_PULL_DOWN:
	case PIN_CONFIG_BIAS_DISABLE:
		pulled_up &= ~BIT_ULL(line);
		break;
	default: /* open drain too, as on a Pi: the kernel then lets go for high */
		done = -ENOTSUPP;
	}
	raw_spin_unlock_irqrestore(&lock, flags);
	return done;
}

static void pins_mask(struct irq_data *data)
{
	unsigned long flags;

	raw_spin_lock_irqsave(&lock, flags);
	unmasked &= ~BIT_ULL(irqd_to_hwirq(data));
	raw_spin_unlock_irqrestore(&lock, flags);
	gpiochip_disable_irq(&chip, irqd_to_hwirq(data));
}

static void pins_unmask(struct irq_data *data)
{
	unsigned long flags;

	gpiochip_enable_irq(&chip, irqd_to_hwirq(data));
	raw_spin_lock_irqsave(&lock, flags);
	unmasked |= BIT_ULL(irqd_to_hwirq(data));
	raw_spin_unlock_irqrestore(&lock, flags);
}

static void pins_ack(struct irq_data *data)
{
}

static int pins_set_type(struct irq_data *data, unsigned int type)
{
	unsigned long flags;
	u64 bit = BIT_ULL(irqd_to_hwirq(data));

	if (type & ~IRQ_TYPE_EDGE_BOTH)
		return -EINVAL;
	raw_spin_lock_irqsave(&lock, flags);
	rising = type & IRQ_TYPE_EDGE_RISING ? rising | bit : rising & ~bit;
	falling = type & IRQ_TYPE_EDGE_FALLING ? falling | bit : falling & ~bit;
	raw_spin_unlock_irqrestore(&lock, flags);
	irq_set_handler_locked(data, handle_edge_irq);
	return 0;
}

static const struct irq_chip interrupts = {
	.name = "pins",
	.irq_ack = pins_ack,
	.irq_mask = pins_mask,
	.irq_unmask = pins_unmask,
	.irq_set_type = pins_set_type,
	.flags = IRQCHIP_IMMUTABLE,
	GPIOCHIP_IRQ_RESOURCE_HELPERS,
};

/* ---- the test's side ---- */

static enum hrtimer_restart play_step(struct hrtimer *timer)
{
	const struct step *step = &steps[played];
	u64 bit = BIT_ULL(step->line), wanted;
	ktime_t due = hrtimer_get_expires(timer);
	s64 late = ktime_to_ns(ktime_sub(ktime_get(), due));
	unsigned long flags;
	int before, after;

	latest = max(latest, late);
	raw_spin_lock_irqsave(&lock, flags);
	before = level_of(step->line);
	outside[step->line] = step->level;
	after = level_of(step->line);
	wanted = (after ? rising : falling) & unmasked & bit;
	raw_spin_unlock_irqrestore(&lock, flags);
	if (before != after && wanted)
		generic_handle_domain_irq(chip.irq.domain, step->line);
	if (++played == count) {
		complete(&over);
		return HRTIMER_NORESTART;
	}
	if (late > slack_ns) {
		slipped += late;
		due = ktime_add_ns(due, late);
	}
	hrtimer_set_expires(timer, ktime_add_ns(due, steps[played].at - step->at));
	return HRTIMER_RESTART;
}

static int read_steps(char *text)
{
	char *row, level;
	size_t room = 1;
	u64 last = 0;

	for (row = text; *row; row++)
		room += *row == '\n';
	kvfree(steps);
	count = 0;
	steps = kvmalloc_array(room, sizeof(*steps), GFP_KERNEL);
	if (!steps)
		return -ENOMEM;
	while ((row = strsep(&text, "\n"))) {
		struct step *step = &steps[count];

		if (!*row)
			continue;
		if (sscanf(row, "%llu %hhu %c", &step->at, &step->line, &level) != 3)
			return -EINVAL;
		if (step->line >= LINES || step->at < last || !strchr("01z", level))
			return -EINVAL;
		step->level = level == 'z' ? FLOATS : level - '0';
		last = step->at;
		count++;
	}
	return count ? 0 : -EINVAL;
}

static ssize_t play_write(struct file *file, const char __user *given, size_t size,
			  loff_t *at)
{
	ssize_t done;
	char *text;

	if (size > LONGEST)
		return -EFBIG;
	text = kvmalloc(size + 1, GFP_KERNEL);
	if (!text)
		return -ENOMEM;
	mutex_lock(&playing);
	done = copy_from_user(text, given, size) ? -EFAULT : 0;
	text[size] = 0;
	if (!done)
		done = read_steps(text);
	if (!done) {
		played = latest = slipped = 0;
		reinit_completion(&over);
		hrtimer_start(&timer, ns_to_ktime(steps[0].at), HRTIMER_MODE_REL_HARD);
		done = wait_for_completion_interruptible(&over);
		hrtimer_cancel(&timer);
	}
	mutex_unlock(&playing);
	kvfree(text);
	return done ? done : size;
}

static const struct file_operations play_face = {
	.owner = THIS_MODULE,
	.open = simple_open,
	.write = play_write,
};

static char sign_of(int level)
{
	return level == FLOATS ? 'z' : '0' + level;
}

static int driven_show(struct seq_file *file, void *unused)
{
	size_t end = changes, at = end > KEPT ? end - KEPT : 0;

	for (; at < end; at++) {
		struct step *one = &driven[at % KEPT];

		seq_printf(file, "%llu %u %c\n", one->at, one->line, sign_of(one->level));
	}
	return 0;
}

static int driven_open(struct inode *inode, struct file *file)
{
	return single_open(file, driven_show, NULL);
}

static ssize_t driven_write(struct file *file, const char __user *given, size_t size,
			    loff_t *at)
{
	unsigned long flags;

	raw_spin_lock_irqsave(&lock, flags);
	changes = 0;
	raw_spin_unlock_irqrestore(&lock, flags);
	return size;
}

static const struct file_operations driven_face = {
	.owner = THIS_MODULE,
	.open = driven_open,
	.read = seq_read,
	.write = driven_write,
	.llseek = seq_lseek,
	.release = single_release,
};

static int state_show(struct seq_file *file, void *unused)
{
	unsigned int line;

	for (line = 0; line < LINES; line++)
		seq_printf(file, "%u %s %d\n", line,
			   out & BIT_ULL(line) ? "out" : "in", level_of(line));
	seq_printf(file, "played %zu of %zu, latest %lld ns, moved by %lld ns\n", played,
		   count, latest, slipped);
	return 0;
}
DEFINE_SHOW_ATTRIBUTE(state);

/* ---- the board ---- */

static int revision_show(struct seq_file *file, void *unused)
{
	__be32 code = cpu_to_be32(revision);

	return seq_write(file, &code, sizeof(code));
}

static int add_chip(struct gpio_chip *gc, const char *name, unsigned int lines)
{
	gc->label = name;
	gc->owner = THIS_MODULE;
	gc->parent = &board->dev;
	gc->base = -1;
	gc->ngpio = lines;
	gc->get = pins_get;
	gc->get_direction = pins_get_direction;
	gc->set = pins_set;
	gc->direction_input = pins_input;
	gc->direction_output = pins_output;
	gc->set_config = pins_config;
	return gpiochip_add_data(gc, NULL);
}

static int __init pins_start(void)
{
	uint number = 0;
	int done;

	if (others > ARRAY_SIZE(other))
		return -EINVAL;
	memset(outside, FLOATS, sizeof(outside));
	hrtimer_init(&timer, CLOCK_MONOTONIC, HRTIMER_MODE_REL_HARD);
	timer.function = play_step;
	board = platform_device_register_simple("pins", PLATFORM_DEVID_NONE, NULL, 0);
	if (IS_ERR(board))
		return PTR_ERR(board);
	/* the lines of these are those of the chip: a wrong choice would be seen there */
	for (; number < others; number++) {
		done = add_chip(&other[number], "expander", 8);
		if (done)
			goto undo;
	}
	gpio_irq_chip_set_chip(&chip.irq, &interrupts);
	chip.irq.handler = handle_edge_irq;
	chip.irq.default_type = IRQ_TYPE_NONE;
	done = add_chip(&chip, label, LINES);
	if (done)
		goto undo;
	face = debugfs_create_dir("pins", NULL);
	debugfs_create_file("play", 0200, face, NULL, &play_face);
	debugfs_create_file("driven", 0600, face, NULL, &driven_face);
	debugfs_create_file("state", 0400, face, NULL, &state_fops);
	if (revision) {
		tree = proc_mkdir("device-tree", NULL);
		proc_create_single("linux,revision", 0444, proc_mkdir("system", tree),
				   revision_show);
	}
	return 0;
undo:
	while (number--)
		gpiochip_remove(&other[number]);
	platform_device_unregister(board);
	return done;
}

static void __exit pins_end(void)
{
	uint number;

	if (tree)
		proc_remove(tree);
	debugfs_remove(face);
	hrtimer_cancel(&timer);
	gpiochip_remove(&chip);
	for (number = 0; number < others; number++)
		gpiochip_remove(&other[number]);
	platform_device_unregister(board);
	kvfree(steps);
}

module_init(pins_start);
module_exit(pins_end);
MODULE_LICENSE("GPL");
MODULE_DESCRIPTION("Simulated pins of a Pi, for tests");
