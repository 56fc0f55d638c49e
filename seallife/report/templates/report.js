"use strict";
for (const place of document.querySelectorAll(".plot")) {
  const figure = JSON.parse(document.getElementById(place.dataset.figure).textContent);
  Plotly.newPlot(place, figure.data, figure.layout, { responsive: true, displayModeBar: false });
}
