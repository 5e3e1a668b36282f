"""The driver: manoeuvres, with a human foot, hand and eye, on a simulated car.

A drive is a function that tells a `Driver` what to do; `simulate` runs it and returns the truth.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.simulation.car import Car
from tests.simulation.road import Road, level_road
from tests.simulation.truth import START_UTC_S, Manoeuvre, Truth, stop_figures
from tests.simulation.vehicle import NEUTRAL, OPEN, Vehicle

_SETTLED_MPS = 0.25
_PATIENCE_S = 120.0
_CLUTCH_IN_RPM = 1200.0  # below it the engine would be dragged under its idle


@dataclass(frozen=True)
class Pedal:
    """How the brake is used in one stop."""

    level_mps2: float = 6.5  # braking on top of the road's own resistance, before limits
    build_up_s: float = 0.3  # from first bite to the plateau
    unevenness: float = 0.03  # human variation, as a fraction
    rise: float = 0.06  # how much harder the foot presses toward the end
    lift_s: float = 0.3  # throttle off, brakes not on yet
    clutch_s: float = 0.0  # how long the engine still brakes after first bite
    pull_pm: float = 0.0  # curvature the brakes steer into, positive to the right


class Driver:
    """Drives a car by manoeuvre. Speeds in m/s, times in s, acceleration in m/s²."""

    def __init__(
        self, car: Car, road: Road, seed: int = 0, start_utc_s: float = START_UTC_S
    ) -> None:
        self.vehicle = Vehicle(car, road, seed, start_utc_s)
        self.rng = self.vehicle.rng
        self.car = car
        self.manoeuvres: list[Manoeuvre] = []

    @property
    def time_s(self) -> float:
        """Time since the start of the drive."""
        return self.vehicle.time_s

    @property
    def speed_mps(self) -> float:
        """Speed now."""
        return self.vehicle.speed_mps

    def finish(self) -> Truth:
        """Return the truth, with the exact figures of every manoeuvre filled in."""
        truth = self.vehicle.truth(())
        return dataclasses.replace(
            truth,
            manoeuvres=tuple(
                _with_figures(truth, m) for m in sorted(self.manoeuvres, key=lambda m: m.start_s)
            ),
        )

    # --- standing, starting, changing gear ---

    def idle(self, seconds: float) -> None:
        """Stand still in neutral."""
        start = self.time_s
        self._come_to_rest()
        self.vehicle.gear = NEUTRAL
        while self.time_s < start + seconds:
            self.vehicle.open(1.0, self.car.idle_rpm * (1.0 + 0.02 * self._noise()))
        self._note("idle", start, 0)

    def start_rolling(self, speed_mps: float) -> None:
        """Begin the drive on the move, in a fitting gear (for short drives)."""
        self.vehicle.speed_mps = speed_mps
        self.vehicle.gear = self.fitting_gear(speed_mps)
        self._steady(speed_mps, 2.0, 0.1)

    def reach(self, speed_mps: float, accel_mps2: float = 1.3, gear: int | None = None) -> None:
        """Go up or down to a speed with normal driving, ending in `gear` (or a fitting one)."""
        final = self.fitting_gear(speed_mps) if gear is None else gear
        self._start_if_standing(min(accel_mps2, 2.0))
        give_up = self.time_s + _PATIENCE_S
        while abs(self.speed_mps - speed_mps) > _SETTLED_MPS and self.time_s < give_up:
            self._choose_on_the_way(speed_mps, final)
            gap = speed_mps - self.speed_mps
            want = math.copysign(min(accel_mps2, 0.3 + 0.6 * abs(gap)), gap)
            self.vehicle.locked(want, max(0.0, -want - 0.5) if want < 0 else 0.0)
        self._ensure_gear(final)

    def shift(self, gear: int) -> None:
        """Change gear: clutch in, match revs, clutch home."""
        vehicle, seconds = self.vehicle, self.rng.uniform(0.4, 1.0)
        vehicle.gear = OPEN
        end = self.time_s + seconds
        match = self.rng.normal(1.0, 0.06)
        while self.time_s < end:
            vehicle.open(rpm=match * self.car.locked_rpm(self.speed_mps, gear))
        self._clutch_home(gear)

    def fitting_gear(self, speed_mps: float) -> int:
        """Return the highest gear that keeps the engine above 1900 r/min."""
        gears = range(1, len(self.car.ratios) + 1)
        fit = [g for g in gears if self.car.locked_rpm(speed_mps, g) > 1900.0]
        return fit[-1] if fit else 1

    # --- what the shakedown is for ---

    def hold(
        self,
        speed_mps: float,
        seconds: float = 15.0,
        gear: int | None = None,
        wander_mps: float = 0.3,
    ) -> Manoeuvre:
        """Hold a true speed as a person does, wandering slowly within about ±wander_mps."""
        self.reach(speed_mps, gear=gear)
        self._steady(speed_mps, 3.0, wander_mps)
        start = self.time_s
        self._steady(speed_mps, seconds, wander_mps)
        return self._note("hold", start, self.vehicle.gear, target_mps=speed_mps)

    def pull(self, gear: int, from_mps: float, to_mps: float) -> Manoeuvre:
        """Full throttle in one gear between two speeds."""
        self.reach(max(from_mps - 0.8, 1.2 * self._least_mps(gear)), gear=gear)
        self._steady(self.speed_mps, 1.5, 0.05)
        start, give_up = self.time_s, self.time_s + 60.0
        while self.speed_mps < to_mps + 0.5 and self.time_s < give_up:
            self.vehicle.locked(9.0)
        made = self._note("pull", start, gear, from_mps=from_mps, to_mps=to_mps)
        self._steady(self.speed_mps - 0.5, 1.0, 0.0)
        return made

    def standing(
        self, to_mps: float, shift_rpm: float = 5200.0, clutch_s: float = 0.0
    ) -> Manoeuvre:
        """Start from rest and go hard through the gears.

        The clutch takes `clutch_s` to bite, the throttle open before; with 0 it is the throttle
        that drive force waits for.
        """
        self._come_to_rest()
        self._rest(self.rng.uniform(2.0, 4.0))
        start = self.time_s
        self._launch(4.0, 2800.0, clutch_s)
        while self.speed_mps < to_mps + 0.5 and self.time_s < start + 60.0:
            if self.vehicle.rpm > shift_rpm and self.vehicle.gear < len(self.car.ratios):
                self.shift(self.vehicle.gear + 1)
            self.vehicle.locked(9.0)
        return self._note("standing", start, self.vehicle.gear, to_mps=to_mps)

    def coast(self, from_mps: float, to_mps: float) -> Manoeuvre:
        """Coast down in neutral between two speeds."""
        self.reach(from_mps + 1.0)
        self._steady(from_mps + 1.0, 1.0, 0.0)
        self.vehicle.gear = NEUTRAL
        while self.speed_mps > from_mps:
            self.vehicle.open()
        start = self.time_s
        while self.speed_mps > to_mps and self.time_s < start + 400.0:
            self.vehicle.open()
        f0, f2 = self.car.rolling_force_n, self.car.drag_factor
        made = self._note("coast", start, 0, from_mps=from_mps, to_mps=to_mps, f0_n=f0, f2=f2)
        self.shift(self.fitting_gear(self.speed_mps))
        return made

    def stop(self, from_mps: float, pedal: Pedal = Pedal()) -> Manoeuvre:
        """Brake to rest from a speed. The manoeuvre starts where the brakes begin to bite."""
        self._approach(from_mps, pedal.lift_s)
        start = self.time_s
        self._brake(pedal, 0.0)
        made = self._note("stop", start, 0)
        self._rest(self.rng.uniform(1.5, 4.0))
        return made

    def snub(self, from_mps: float, to_mps: float, pedal: Pedal = Pedal()) -> Manoeuvre:
        """Brake from one speed to a lower one, and drive on."""
        return self._part_stop("snub", from_mps, to_mps, pedal)

    def interrupted_stop(
        self,
        from_mps: float,
        let_go_mps: float,
        pedal: Pedal = Pedal(),
    ) -> Manoeuvre:
        """Begin a stop, let go part way, drive on: no stop to be measured."""
        return self._part_stop("interrupted", from_mps, let_go_mps, pedal)

    def cruise(self, speed_mps: float, seconds: float, wander_mps: float = 0.6) -> None:
        """Drive along at about a speed."""
        self.reach(speed_mps)
        start = self.time_s
        self._steady(speed_mps, seconds, wander_mps)
        self._note("cruise", start, self.vehicle.gear)

    def turn(self, degrees: float, radius_m: float = 8.0, speed_mps: float = 4.0) -> None:
        """Turn a corner (positive to the right) at low speed."""
        self.reach(speed_mps, 1.5)
        start, goal = self.time_s, self.vehicle.heading_rad + math.radians(degrees)
        self.vehicle.turn_pm = math.copysign(1.0 / radius_m, degrees)
        while (goal - self.vehicle.heading_rad) * degrees > 0.0:
            self.vehicle.locked(0.8 * (speed_mps - self.speed_mps))
        self.vehicle.turn_pm = 0.0
        self._note("turn", start, self.vehicle.gear)

    def seek_straight(self) -> None:
        """Come to a straight that is long enough for what follows, there and back, up to a stop."""
        self.vehicle.straight = True

    def turn_round(self) -> None:
        """Turn back the way the car came.

        Bends go by the distance driven: only on a straight does the car come over the same ground.
        """
        self.turn(180.0)

    def traffic(self, seconds: float) -> None:
        """Drive in a town: spurts, queues, gentle stops, corners."""
        start = self.time_s
        while self.time_s < start + seconds:
            self.reach(self.rng.uniform(5.0, 14.0), self.rng.uniform(0.9, 1.8))
            self._steady(self.speed_mps, self.rng.uniform(2.0, 12.0), 0.6)
            choice = self.rng.random()
            if choice < 0.4:
                self._gentle_stop(self.rng.uniform(1.0, 2.4))
                self._rest(self.rng.uniform(1.0, 12.0))
            elif choice < 0.6:
                self.turn(float(self.rng.choice([-90.0, 90.0])))
        self._note("traffic", start, self.vehicle.gear)

    # --- the parts they are made of ---

    def _note(self, kind: str, start_s: float, gear: int, **figures: float) -> Manoeuvre:
        made = Manoeuvre(kind, start_s, self.time_s, gear, figures)
        self.manoeuvres.append(made)
        return made

    def _noise(self) -> float:
        return float(self.rng.normal())

    def _least_mps(self, gear: int) -> float:
        """Speed at idle in a gear."""
        return self.car.idle_rpm / 60.0 / self.car.revs_per_metre(gear)

    def _start_if_standing(self, accel_mps2: float) -> None:
        if self.vehicle.gear <= 0 and self.speed_mps < 2.0:
            self._launch(accel_mps2, 1700.0)
        elif self.vehicle.gear <= 0:
            self.shift(self.fitting_gear(self.speed_mps))

    def _launch(self, accel_mps2: float, engine_rpm: float, clutch_s: float = 0.0) -> None:
        self.vehicle.gear, start, home = OPEN, self.time_s, False
        while not home:
            into = self.time_s - start + self.vehicle.step_s
            bite = min(1.0, into / clutch_s) if clutch_s > 0.0 else 1.0
            home = self.vehicle.slipping(bite * accel_mps2, 1, engine_rpm, clutch_s > 0.0)
        self.vehicle.gear = 1

    def _choose_on_the_way(self, goal_mps: float, final: int) -> None:
        """Change up when the engine is busy and slower than the goal, down when it labours."""
        gear, rpm = self.vehicle.gear, self.car.locked_rpm(self.speed_mps, self.vehicle.gear)
        if goal_mps > self.speed_mps:
            if rpm > 3300.0 and gear < final:
                self.shift(gear + 1)
            elif rpm < 1500.0 and gear > 1:
                self.shift(self.fitting_gear(self.speed_mps))
        elif rpm < 1300.0 and gear > 1:
            self.shift(gear - 1)

    def _ensure_gear(self, gear: int) -> None:
        if self.vehicle.gear != gear:
            self.shift(gear)

    def _clutch_home(self, gear: int) -> None:
        """Let the clutch in over a moment: engine speed closes on road speed."""
        vehicle = self.vehicle
        end = self.time_s + self.rng.uniform(0.1, 0.3)
        while self.time_s < end:
            vehicle.open(rpm=self.car.locked_rpm(self.speed_mps, gear))
        vehicle.gear = gear

    def _steady(self, speed_mps: float, seconds: float, wander_mps: float) -> None:
        periods = self.rng.uniform(6.0, 25.0, 3)
        phases = self.rng.uniform(0.0, 2.0 * math.pi, 3)
        speeds = 2.0 * math.pi / periods
        step = self.vehicle.step_s
        ticks = np.arange(round(seconds / step)) * step
        aim = speed_mps + 0.5 * wander_mps * np.sin(np.outer(ticks, speeds) + phases).sum(axis=1)
        for goal in aim.tolist():
            self.vehicle.locked(0.8 * (goal - self.speed_mps))

    def _approach(self, from_mps: float, lift_s: float) -> None:
        """Come to a stop's initial speed, foot off just before the brakes."""
        self.reach(from_mps + 0.3 * lift_s)
        self.vehicle.straight = True  # nobody picks a bend for it
        self._steady(from_mps + 0.3 * lift_s, self.rng.uniform(2.0, 4.0), 0.15)
        end = self.time_s + lift_s
        while self.time_s < end - 1e-9:
            self.vehicle.locked(-9.0)

    def _brake(self, pedal: Pedal, to_mps: float) -> None:
        vehicle, step = self.vehicle, self.vehicle.step_s
        rates = self.rng.uniform(2.0, 9.0, 3)
        phases = self.rng.uniform(0.0, 2.0 * math.pi, 3)
        initial, start, gear = self.speed_mps, self.time_s, vehicle.gear
        vehicle.turn_pm = pedal.pull_pm
        while self.speed_mps > to_mps:
            into = self.time_s - start + 0.5 * step
            foot = min(1.0, into / pedal.build_up_s) if pedal.build_up_s > 0 else 1.0
            wobble = sum(math.sin(r * into + p) for r, p in zip(rates, phases, strict=True))
            human = 1.0 + 0.58 * pedal.unevenness * wobble
            harder = 1.0 + pedal.rise * (1.0 - self.speed_mps / initial)
            asked = pedal.level_mps2 * human * harder
            brake = foot * min(asked, vehicle.brake_limit_mps2())
            turning = gear >= 1 and self.car.locked_rpm(self.speed_mps, gear) > _CLUTCH_IN_RPM
            if into < pedal.clutch_s and turning:
                vehicle.overrun(brake)
            else:
                gear = vehicle.gear = OPEN
                vehicle.open(brake)
        vehicle.turn_pm, vehicle.straight = 0.0, False

    def _part_stop(self, kind: str, from_mps: float, to_mps: float, pedal: Pedal) -> Manoeuvre:
        self._approach(from_mps, pedal.lift_s)
        start, initial = self.time_s, self.speed_mps
        self._brake(pedal, to_mps)
        made = self._note(kind, start, 0, initial_mps=initial, final_mps=self.speed_mps)
        self.shift(self.fitting_gear(self.speed_mps))
        return made

    def _gentle_stop(self, level_mps2: float) -> None:
        self.vehicle.gear = OPEN
        self._brake(Pedal(level_mps2, build_up_s=0.8, unevenness=0.15, rise=-0.3), 0.0)

    def _come_to_rest(self) -> None:
        if self.speed_mps > 0.0:
            self.reach(6.0, 1.5)
            self._gentle_stop(1.2)

    def _rest(self, seconds: float) -> None:
        end = self.time_s + seconds
        while self.time_s < end:
            self.vehicle.open(1.0)
        self.vehicle.gear = NEUTRAL


def _with_figures(truth: Truth, made: Manoeuvre) -> Manoeuvre:
    """Fill in what only the finished truth can tell exactly."""
    figures = dict(made.figures)
    end_s = made.end_s
    inside = (truth.t_s >= made.start_s) & (truth.t_s <= end_s)
    if made.kind == "stop":
        figures.update(stop_figures(truth, made.start_s))
        end_s = figures["end_s"]
    elif made.kind == "hold":
        figures["mean_mps"] = truth.mean_speed_mps(made.start_s, end_s)
        figures["mean_rpm"] = float(truth.engine_rpm[inside].mean())
    elif made.kind == "pull":
        begin = truth.rises_through(figures["from_mps"], made.start_s)
        figures["time_s"] = truth.rises_through(figures["to_mps"], begin) - begin
        figures["peak_power_w"] = float((truth.drive_force_n * truth.speed_mps)[inside].max())
    elif made.kind == "standing":
        first = truth.rises_through(1e-9, made.start_s)
        figures["time_s"] = truth.rises_through(figures["to_mps"], first) - first
    elif made.kind == "coast":
        begin = truth.falls_through(figures["from_mps"], made.start_s - truth.step_s)
        figures["time_s"] = truth.falls_through(figures["to_mps"], begin) - begin
    return dataclasses.replace(made, end_s=end_s, figures=figures)


def simulate(
    script: Callable[[Driver], object],
    car: Car | None = None,
    road: Road | None = None,
    seed: int = 0,
    start_utc_s: float = START_UTC_S,
) -> Truth:
    """Run a script of manoeuvres and return what really happened."""
    driver = Driver(car or Car(), road or level_road(), seed, start_utc_s)
    script(driver)
    return driver.finish()
