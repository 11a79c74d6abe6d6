#!/usr/bin/env bash
# From ImageNet weights to weights that may be served, in one run: views that are rendered meanwhile teach both networks;
# renders for calibration and measurement are drawn beside it. Use: training/from_nothing.sh OUT
#
# Needs the environment of the tests and GPUs; on a processor alone, which is slow (a trial of minutes, worse networks):
#   PRESET=small VARIANT=llvm_ad_rgb DEVICES=cpu MINUTES=1 LIFTS=20 SIZES="--batch 4 --views 4 --held 64 --unseen 16" \
#       training/from_nothing.sh OUT
# OUT/NAME/weights are the candidates and OUT/NAME/evaluation-* their figures; what they were made of lies beside them.
set -euo pipefail
OUT=${1:?folder of the run}
PYTHON=${PYTHON:-python}
PRESET=${PRESET:-full}
VARIANT=${VARIANT:-cuda_ad_rgb}
DEVICES=${DEVICES:-cuda:0,cuda:1}
MINUTES=${MINUTES:-16}                 # of the reader
FINDER_MINUTES=${FINDER_MINUTES:-6}
LIFTS=${LIFTS:-3000}                   # drawn for calibration; as many for measurement, from two sides each
WORKERS=${WORKERS:-14}
SEED=${SEED:-28}
BEGIN=${BEGIN:-imagenet classifier/weights}
REVISION=${REVISION:-}                 # the commit, where this is no checkout
GRAMMAR=${GRAMMAR:-0.65}
SIZES=${SIZES:---batch 128 --held 16384}
LAST=${DEVICES##*,}

mkdir -p "$OUT"
export OMP_NUM_THREADS=1 PYTHONUNBUFFERED=1
trap 'kill $(jobs -p) 2>/dev/null || true' EXIT  # where one part fails, the others end
step() { printf '%s %s\n' "$(date +%T)" "$*"; }

# The values of the demo pool's boxes: half of what is calibrated on and measured has them.
"$PYTHON" - > "$OUT/rows.json" <<'EOF'
import json
from classifier.taxonomy import CONTROL_BOX_CONCEPTS
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
boxes = load(DEMO_CATALOGUE).generations
print(json.dumps([{concept: getattr(box, concept) for concept in CONTROL_BOX_CONCEPTS} for box in boxes]))
EOF

draw() {  # NAME and what `python -m synthetic_samples` is to be told
  local name=$1; shift
  CUDA_VISIBLE_DEVICES=$([ "$LAST" = cpu ] || echo "${LAST#cuda:}") "$PYTHON" -m synthetic_samples "$@" \
    --workers "$WORKERS" $([ "$LAST" = cpu ] || echo --variant "$VARIANT") --out "$OUT/$name" > "$OUT/$name.log" 2>&1
  step "drawn: $name"
}
teach() {  # TASK, minutes, and what `python -m training stream` is to be told
  local task=$1 minutes=$2; shift 2
  "$PYTHON" -m training stream --task "$task" --preset "$PRESET" --variant "$VARIANT" --minutes "$minutes" \
    --grammar "$GRAMMAR" $SIZES $(printf -- '--begin %s ' $BEGIN) --out "$OUT/$task" "$@" > "$OUT/$task.log" 2>&1
  step "taught: $task; $(tail -n 2 "$OUT/$task.log" | cut -c1-300)"
}

step begins
teach reader "$MINUTES" --seed "$SEED" --devices "$DEVICES" & READER=$!
teach finder "$FINDER_MINUTES" --seed "$((SEED + 1))" --devices "$LAST" --views 4 & FINDER=$!
(
  draw train --style train --count "$((LIFTS / 3))" --seed "$((SEED + 2))" --grammar 0.5 --people 0.6
  draw calibration --style calibration --count "$((2 * LIFTS))" --views 2 --seed "$((SEED + 3))" --grammar 0.3 \
    --people 0.5 --combinations "$OUT/rows.json"
  draw heldout --style heldout --count "$((2 * LIFTS))" --views 2 --seed "$((SEED + 4))" --combinations "$OUT/rows.json"
  draw composed --style heldout --count "$((LIFTS / 2))" --views 2 --seed "$((SEED + 5))" --grammar 1.0 \
    --combinations "$OUT/rows.json"
) & RENDERS=$!
for part in $READER $FINDER $RENDERS; do wait "$part"; done

measured() {  # the candidate of one beginning: the reader's and the finder's network of that name
  local name=$1 run=$OUT/$1
  mkdir -p "$run"
  cp "$OUT/reader/$name/reader.pt" "$OUT/finder/$name/finder.pt" "$run"
  {
    "$PYTHON" -m training export --data "$OUT/train" --out "$run" ${REVISION:+--revision "$REVISION"}
    "$PYTHON" -m training calibrate --preset "$PRESET" --workers "$WORKERS" --data "$OUT/train" \
      --calibration "$OUT/calibration" --combinations "$OUT/rows.json" --out "$run"
    for set in heldout composed; do
      "$PYTHON" -m training evaluate --preset "$PRESET" --workers "$WORKERS" --data "$OUT/train" \
        --heldout "$OUT/$set" --out "$run"
      mv "$run/evaluation" "$run/evaluation-$set"
    done
  } > "$run/log" 2>&1
  step "measured: $name"
}
parts=
for name in $(cd "$OUT/reader" && ls -d */ | tr -d /); do
  measured "$name" &
  parts="$parts $!"
done
for part in $parts; do wait "$part"; done
step done
