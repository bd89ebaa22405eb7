import time, pytest, csv
from pathlib import Path
from datetime import datetime, UTC
from tracker.actions.imports import bring_in
from tracker.models import *
@pytest.mark.django_db(transaction=True)
def test_demo():
    from tracker.actions.schedule import load_default_intervals
    now=datetime(2026,5,1,10,tzinfo=UTC)
    import os
    now=datetime.fromisoformat(os.environ.get("H5NOW","2026-05-01"))
    if now.tzinfo is None: now=now.replace(hour=10,tzinfo=UTC)
    load_default_intervals(rows=list(csv.DictReader(open("fixtures/intervals.csv"))), now=now)
    files=[(n,Path("fixtures",n).read_bytes()) for n in ("catalogue.csv","parts.csv","deliveries.xlsx","odometer.csv","service_book.csv")]
    t=time.process_time(); marks=[]
    import cProfile,pstats
    pr=cProfile.Profile(); prof=os.environ.get('H5PROF'); pr.enable() if prof else None
    reps=bring_in(files=files,now=now,write=True,tell=lambda w,d,n: marks.append((w,round(time.process_time()-t,2))))
    if prof: pr.disable(); pstats.Stats(pr).sort_stats('cumulative').print_stats(75)
    print(marks[5:], time.process_time()-t)
    for r in reps:
        b=r.batch; print(b.kind,b.state,b.rows_total,"good",b.rows_good,"skip",b.rows_skipped,"quest",b.rows_questioned,"bad",b.rows_bad, b.message)
        from collections import Counter
        print(Counter((x.verdict,x.code,x.field) for x in r.rows))
        for x in sorted(r.rows,key=lambda x:x.verdict)[:12]: print("   ",x.number,x.verdict,x.field,x.message[:230])
    print(Component.objects.count(), Trike.objects.count(), LogEntry.objects.count(), DueLine.objects.count(), JobCard.objects.count(), OdometerReading.objects.count())
