package calibrate

const opening = `Calibration of the probes of the bench %q: %s

Every output is told zero, and nothing else is written to a device. With a wrong
address a zero can mean something else: press the emergency stop first. Each
point takes a few minutes: the probes have to come to rest, which is so when the
mean of the last half minute is within %.1f °C of that of the half minute before.
What was taken is kept at once; Ctrl-C stops at any time, and the same command
goes on. A point counts for %.0f hours, for one calibration.

With the emergency stop pressed, let the devices run for half an hour before: an
input reads a little otherwise until it is warm (common practice, no source).

COLD BENCH ONLY. WATER IN HOT VINYL SPATTERS: no water near a pot that is warm,
and every tip is wiped until the cloth stays dry before it goes back into its
pot. A kettle is heated on a cooker, away from the bench and its mains. STEAM
BURNS AND IS NOT SEEN: gauntlet on, hold the cable from the side, face and arms
not over the pan. The local code and a licensed electrician have the last word
on the bench.
`

const asking = `
Type one of these:
  ice                   probes in wet, crushed ice
  boiling at 300 m      probes in boiling water, with the height above the sea
  boiling at 985 hPa    the same with the air's pressure there, not reduced to
                        sea level: better, weather moves the water by 0.8 °C
  together              probes in one pot or cup of stirred water
  accept                put the corrections in force that are shown
  end
`

const howIce = `
ICE, 0.0 °C. Fill a thermos flask with finely crushed ice of drinking water,
and just so much cold water that it is wet all through and the ice does not
float off the bottom. Put the tips in the middle, at least 5 cm deep and not on
the bottom, and stir every minute. Salt spoils it, and so does water without
ice below.
`

const howBoiling = `
BOILING WATER, %.1f °C here, within %.1f (estimate). An open pan of tap water
that boils hard on a cooker. Tips at least 5 cm deep, not on the bottom or the
wall. Handles and plugs stay out of the steam. STEAM BURNS AND IS NOT SEEN:
gauntlet on, face shield down.
`

const weatherMoves = `
A height knows nothing of the weather: with the air's pressure at the bench in
its place, as in "boiling at 985 hPa", the water is known within %.1f °C.
`

const howTogether = `
TOGETHER. A wide cup or pot of water, as warm as the room or hot from the tap,
stirred all the time. Put the tips side by side in the middle, bundled with a
band, at least 5 cm deep.
`

const closing = `
DRY EVERY TIP now: wipe tip and sheath until the cloth stays dry, and put each
probe back into its own pot. Take water and ice away from the bench. Water in
hot vinyl spatters.
`
