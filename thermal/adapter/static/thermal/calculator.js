/* Sliders beside the numbers; without scripts the numbers alone do. */
"use strict";

for (const slider of document.querySelectorAll("input[data-slides]")) {
  const number = document.getElementById(slider.dataset.slides);
  slider.hidden = false;
  slider.addEventListener("input", () => { number.value = slider.value; });
  number.addEventListener("input", () => { slider.value = number.value.replace(",", ".").replace("−", "-"); });
}
