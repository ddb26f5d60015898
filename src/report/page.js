// Draws the speed charts of the page and the tables of their numbers, from the data beside each.
'use strict';
(() => {
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const figures = [...document.querySelectorAll('figure.speed')];
  const charts = new Map();
  const data = (figure) => JSON.parse(figure.querySelector('script').textContent);
  const points = (rows) => rows.map(([x, y]) => ({x, y}));

  function draw(figure) {
    if (charts.has(figure)) charts.get(figure).destroy();
    const d = data(figure);
    const [ink, soft, rule, paper] = ['--ink', '--soft', '--rule', '--paper'].map(colour);
    const line = (label, rows, tone, more) => Object.assign({
      label, data: points(rows), borderColor: tone, backgroundColor: tone, showLine: true, pointRadius: 0, borderWidth: 2.5,
    }, more);
    const sets = [
      line('where it touched something', d.contacts, colour('--real'),
           {showLine: false, pointRadius: 6, pointStyle: 'circle', backgroundColor: paper, borderWidth: 2}),
      line('measured', d.real, colour('--real'), {pointStyle: 'line'}),
    ];
    if (d.guess.length) sets.push(line('predicted', d.guess, colour('--guess'),
                                       {borderDash: [8, 6], borderWidth: 2, pointStyle: 'line'}));
    const axis = (text) => ({
      type: 'linear', min: 0, title: {display: true, text, color: ink}, ticks: {color: soft}, grid: {color: rule},
    });
    charts.set(figure, new Chart(figure.querySelector('canvas'), {
      type: 'scatter',
      data: {datasets: sets},
      options: {
        animation: false, responsive: true, maintainAspectRatio: false,
        interaction: {mode: 'nearest', axis: 'x', intersect: false},
        scales: {x: axis('s after the strike'), y: axis('m/s')},
        plugins: {legend: {labels: {color: ink, usePointStyle: true}}},
      },
    }));
  }

  function numbers(figure) {
    const box = figure.querySelector('.numbers');
    if (box.firstChild) return;
    const table = document.createElement('table');
    const row = (tag, cells, into) => {
      const tr = into.insertRow();
      for (const text of cells) {
        const cell = document.createElement(tag);
        cell.textContent = text;
        if (tag === 'th') cell.scope = 'col';
        tr.append(cell);
      }
    };
    row('th', ['s after the strike', 'measured, m/s'], table.createTHead());
    const body = table.createTBody();
    for (const [time, speed] of data(figure).real) row('td', [time.toFixed(3), speed.toFixed(3)], body);
    box.append(table);
  }

  // Distance from the mark: a ring for a hit, a cross for a miss, a broken line at the median.
  function drawDistance(figure) {
    if (charts.has(figure)) charts.get(figure).destroy();
    const d = data(figure);
    const [ink, soft, rule, real, guess] = ['--ink', '--soft', '--rule', '--real', '--guess'].map(colour);
    const part = (label, hit, pointStyle, tone) => ({
      label, data: d.rows.filter((r) => r[2] === hit).map(([x, y]) => ({x, y})), borderColor: tone,
      backgroundColor: 'transparent', pointStyle, pointRadius: 6, borderWidth: 2.5, showLine: false,
    });
    const ends = [d.rows[0][0], d.rows[d.rows.length - 1][0]];
    const whole = (value) => (Number.isInteger(value) ? value : '');
    charts.set(figure, new Chart(figure.querySelector('canvas'), {
      type: 'scatter',
      data: {datasets: [
        part('goal met', 1, 'circle', real), part('not met', 0, 'crossRot', guess),
        {label: 'half lie below', data: ends.map((x) => ({x, y: d.median})), borderColor: soft, borderDash: [8, 6],
         borderWidth: 2, pointRadius: 0, pointStyle: 'line', showLine: true},
      ]},
      options: {
        animation: false, responsive: true, maintainAspectRatio: false,
        scales: {
          x: {type: 'linear', min: ends[0] - 0.5, max: ends[1] + 0.5, title: {display: true, text: 'attempt', color: ink},
              ticks: {color: soft, callback: whole}, grid: {color: rule}},
          y: {min: 0, title: {display: true, text: 'cm from the mark', color: ink}, ticks: {color: soft},
              grid: {color: rule}},
        },
        plugins: {legend: {labels: {color: ink, usePointStyle: true}}},
      },
    }));
  }
  const distances = [...document.querySelectorAll('figure.distance')];
  for (const figure of distances) drawDistance(figure);

  const seen = new IntersectionObserver((entries) => {
    for (const e of entries) {
      if (!e.isIntersecting || charts.has(e.target)) continue;
      draw(e.target);
      seen.unobserve(e.target);
    }
  }, {rootMargin: '400px'});
  // A few charts are drawn at once; of many only those that come near the window.
  const few = figures.length <= 12;
  for (const figure of figures) {
    if (few) draw(figure);
    else seen.observe(figure);
    figure.querySelector('details').addEventListener('toggle', () => numbers(figure));
  }
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => {
    for (const figure of [...charts.keys()]) (distances.includes(figure) ? drawDistance : draw)(figure);
  });
  addEventListener('beforeprint', () => {
    for (const figure of figures) if (!charts.has(figure)) draw(figure);
  });
})();
