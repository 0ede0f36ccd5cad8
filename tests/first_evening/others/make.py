"""Makes the logs of the crews in this folder, in ten languages and layouts, and the truth that they were made from.

    pip install pyproj==3.7.2 openpyxl==3.1.5 odfpy==1.4.1 pygeomag && python make.py

Places and distances by pyproj's Geod (GeographicLib), grid convergence by PROJ, declinations of WMM2025 by pygeomag: none of it by the
program that is tested. Readings are rounded as such instruments show them. Invented places, crews and values.
"""
import math, random, os, json, datetime as dt
from pyproj import Geod, Transformer
from openpyxl import Workbook
from drawn import *
R.seed(7)
truth={}
# b1 French: gulls on a cliff. GPX waypoints, csv ; cp1252, title rows, units row, decimal comma, gisement (grid, gon)
p=d('fr'); tr=Transformer.from_crs(4326,2154,always_xy=True); from pyproj import Proj
pl=Proj(2154)
bases={'Cap 1':(48.68120,-2.31520,42.0),'Cap 2':(48.68210,-2.31390,47.0)}
open(p+'points.gpx','w').write('<?xml version="1.0"?>\n<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x">'+''.join(f'<wpt lat="{v[0]}" lon="{v[1]}"><ele>{v[2]}</ele><name>{k}</name></wpt>' for k,v in bases.items())+'<wpt lat="48.68" lon="-2.32"><ele>12</ele><name>Parking</name></wpt></gpx>')
t={}; rows=[]; i=0
for b,base in bases.items():
    conv=pl.get_factors(base[1],base[0]).meridian_convergence
    for q in around(base,9,60,180,20,140,-30,5):
        i+=1; n=f'Nid {i}'; t[n]=q; sd,az,inc,hd=shot(base,q,eye=1.55)
        g=((az-conv)%360)/0.9
        rows.append(f"{i};{b};14/06/2026;{9+i//10}h{10+i*2:02d};{n};{R.choice(['goéland argenté','cormoran'])};{c(sd,1)};{c(g,2)};{c(math.tan(math.radians(inc))*100,1)};{R.choice(['','','couve','vide, abandonné ?'])}")
open(p+'releve.csv','w',encoding='cp1252',newline='').write('\r\n'.join(['Relevé falaise du Cap;;;;;;;;;','Équipe : A. et B.;;;;;;;;;','','N°;Station;Date;Heure;Nid;Espèce;Distance inclinée;Gisement;Pente;Remarques',';;;;;;(m);(gr);(%);']+rows+['Nombre de visées;;;;;;18;;;'])+'\r\n')
truth['fr']=t
# b2 Spanish: poles, workbook two sheets, two header rows merged, totals
p=d('es'); tr=Transformer.from_crs(4326,25830,always_xy=True)
bases={'E1':(40.4165,-3.9021,612.0),'E2':(40.4181,-3.9003,615.5),'E3':(40.4199,-3.8985,611.0)}
wb=Workbook(); ws=wb.active; ws.title='Estaciones'
ws.append(['Levantamiento línea 66 kV']); ws.append([])
ws.append(['Estación','X UTM','Y UTM','Cota elipsoidal','Precisión H','Precisión V'])
for k,v in bases.items():
    x,y=tr.transform(v[1],v[0]); ws.append([k,round(x,3),round(y,3),v[2],0.02,0.03])
s=wb.create_sheet('Visuales'); s.append(['Línea 66 kV','tramo 4']); s.append([])
s.append(['Nº','Fecha','Hora','Estación','Poste','Visual',None,None,'Altura ojo','Observaciones']); s.append([None]*5+['Dist. inclinada (m)','Az. mag. (°)','Áng. vertical (°)'])
for col in 'ABCDEIJ': s.merge_cells(f'{col}3:{col}4')
s.merge_cells('F3:H3')
t={}; i=0
for b,base in bases.items():
    for q in around(base,8,30,160,0,360,-4,9):
        i+=1; n=f'P-{100+i}'; t[n]=q; sd,az,inc,hd=shot(base,q,decl=decl(base,2026.4),eye=1.6)
        s.append([i,dt.date(2026,5,26),dt.time(9+i//20,(5+2*i)%60),b,n,round(sd,1),round(az,1),round(inc,1),1.6,R.choice([None,None,'torcido'])])
s.append(['Total',None,None,None,None,'=SUM(F5:F28)'])
wb.save(p+'linea.xlsx')
truth['es']=t
# b3 Polish: trees, tab, decimal comma, cp1250; bases as DMS in csv
p=d('pl'); bases={'ST1':(52.2301,16.7812,84.0),'ST2':(52.2309,16.7829,83.0)}
def dms(v,pos,neg):
    s=pos if v>=0 else neg; v=abs(v); D=int(v); M=int((v-D)*60); S=((v-D)*60-M)*60; return f"{D}°{M:02d}'{S:05.2f}\"{s}".replace('.',',')
open(p+'stanowiska.txt','w',encoding='cp1250').write('Stanowisko\tSzerokość\tDługość\tWysokość n.p.m.\tDokładność [m]\n'+''.join(f"{k}\t{dms(v[0],'N','S')}\t{dms(v[1],'E','W')}\t{c(v[2],1)}\t3,0\n" for k,v in bases.items()))
t={}; rows=[]; i=0
for b,base in bases.items():
    for q in around(base,10,6,35,0,360,-1,2):
        i+=1; t[str(i)]=q; sd,az,inc,hd=shot(base,q,decl=decl(base,2026.2),eye=1.5)
        rows.append(f"{i}\t12.03.2026\t{9+i//12}:{(i*5)%60:02d}\t{b}\t{R.choice(['dąb','sosna','świerk'])}\t{R.randint(12,60)}\t{c(hd,1)}\t{round(az)}\t{R.choice(['','pęknięty'])}")
open(p+'pomiar.txt','w',encoding='cp1250').write('Nr drzewa\tData\tGodz.\tStanowisko\tGatunek\tPierśnica [cm]\tOdległość [m]\tAzymut mag. [°]\tUwagi\n'+'\n'.join(rows)+'\n\nrazem\t\t\t\t\t\t\t\t20 drzew\n')
truth['pl']=t
# b4 Italian: wide tree heights .csv ; comma decimals; no bases
p=d('it'); t={}; rows=[]
for i in range(1,16):
    D=R.uniform(12,30); H=R.uniform(8,26); e=1.6
    f=math.atan2(-e,D); tp=math.atan2(H-e,D); n=f'A{i:02d}'; t[n]=H
    rows.append(f"{n};{R.choice(['faggio','abete'])};{c(D,1)};{c(math.degrees(tp),1)};{c(math.degrees(f),1)};{R.choice(['','cima rotta'])}")
open(p+'altezze.csv','w',encoding='utf-8').write('Albero;Specie;Distanza orizzontale (m);Angolo cima (°);Angolo piede (°);Note\n'+'\n'.join(rows)+'\n')
truth['it']=t
# b5 Finnish shoreline
p=d('fi'); tr=Transformer.from_crs(4326,3067,always_xy=True); bases={'K1':(60.1402,22.1033,2.5),'K2':(60.1411,22.1060,3.1)}
open(p+'kojepisteet.csv','w',encoding='utf-8').write('Piste;N;E;Korkeus N2000\n'+''.join('%s;%s;%s;%s\n'%(k,c(tr.transform(v[1],v[0])[1],2),c(tr.transform(v[1],v[0])[0],2),c(v[2]-17.5,2)) for k,v in bases.items()))
t={}; rows=[]; i=0
for b,base in bases.items():
    for q in around(base,10,40,220,120,250,-4,-2):
        i+=1; n=f'R{i}'; t[n]=q; sd,az,inc,hd=shot(base,q,eye=1.7)
        rows.append(f"{b};{i};{n};{c(sd,2)};{c(az,1)};{c(inc,1)};14.8.2026 klo 9.{10+i};{R.choice(['kallio','ruovikko'])}")
open(p+'mittaukset.csv','w',encoding='utf-8').write('Kojeasema;Nro;Kohde;Vinoetäisyys;Atsimuutti (tosi);Pystykulma;Aika;Huom\n'+'\n'.join(rows)+'\n')
truth['fi']=t
# b6 US state plane feet, signs; zenith; mm/dd/yy
p=d('us'); tr=Transformer.from_crs(6319,6447,always_xy=True); bases={'CP-1':(34.2711,-84.9402,250.0),'CP-2':(34.2719,-84.9391,251.0)}
USFT=1200/3937
open(p+'control.csv','w').write('Point,Northing (ft),Easting (ft),Ellip Ht (ft),HRMS (ft),VRMS (ft)\n'+''.join('%s,"%s","%s",%.3f,0.05,0.08\n'%(k,f'{tr.transform(v[1],v[0])[1]:,.3f}',f'{tr.transform(v[1],v[0])[0]:,.3f}',v[2]/USFT) for k,v in bases.items()))
t={}; rows=[]; i=0
for b,base in bases.items():
    for q in around(base,9,15,80,0,360,-2,4):
        i+=1; n=f'{R.choice(["R1-1","W2-1","D3"])}-{i}'; t[n]=q; sd,az,inc,hd=shot(base,q,decl=decl(base,2026.5),eye=5.2*0.3048)
        rows.append(f"07/{10+i%2:02d}/26,{8+i//10}:{(i*6)%60:02d}:00 AM,{b},{n},{sd/0.3048:.1f},{az:.1f},{90-inc:.1f},5.2,{R.choice(['','faded','bent, post rusted'])}")
open(p+'signs.csv','w').write('Date,Time,Setup,Sign ID,Slope Dist,Mag Az,Zenith,Inst Ht,Condition\n'+'\n'.join(rows)+'\n')
truth['us']=t
# b7 Dutch KML bases, tab
p=d('nl'); bases={'Dijk A':(52.7011,5.3010,3.0),'Dijk B':(52.7020,5.3031,3.2)}
open(p+'punten.kml','w').write('<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>'+''.join(f'<Placemark><name>{k}</name><Point><coordinates>{v[1]},{v[0]},0</coordinates></Point></Placemark>' for k,v in bases.items())+'</Document></kml>')
t={}; rows=[]; i=0
for b,base in bases.items():
    for q in around(base,8,30,140,0,120,-2,1):
        i+=1; n=f'boei{i}'; t[n]=q; sd,az,inc,hd=shot(base,q,decl=decl(base,2026.3))
        rows.append(f"{i}\t{b}\t{n}\t{c(sd,1)}\t{c(az,1)}\t{c(inc,1)}\t21-04-2026\t{10+i//20}:{(i*3)%60:02d}\t")
open(p+'metingen.txt','w').write('Nr\tOpstelpunt\tDoel\tAfstand\tKompas\tHelling\tDatum\tTijd\tOpmerking\n'+'\n'.join(rows)+'\n')
truth['nl']=t
# b8 one file: position and sight in each row
p=d('one'); t={}; rows=[]; base0=(51.2101,-116.5102,900.0); i=0
for k in range(3):
    lo,la,_=G.fwd(base0[1],base0[0],60,120*k); base=(la,lo,900.0+k*2)
    for q in around(base,6,20,120,0,360,-10,10):
        i+=1; n=f'H{i:03d}'; t[n]=q; sd,az,inc,hd=shot(base,q,decl=decl(base,2026.6))
        rows.append(f"{i},2026-08-11T{15+k:02d}:{(i*3)%60:02d}:12Z,{base[0]:.6f},{base[1]:.6f},{base[2]:.1f},2.5,{n},{R.choice(['pine','fir'])},{sd:.1f},{az:.1f},{inc:.1f}")
open(p+'survey.csv','w').write('ID,UTC Time,Latitude,Longitude,Altitude,Accuracy (m),Tree ID,Species,Distance (m),Compass (deg),Inclination (deg)\n'+'\n'.join(rows)+'\n')
truth['one']=t
# b9 Portuguese: river span, one file of bases, ods
p=d('pt')
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table,TableRow,TableCell
from odf.text import P
bk=OpenDocumentSpreadsheet()
def sheet(name,rows):
    tb=Table(name=name)
    for r in rows:
        tr_=TableRow()
        for v in r:
            if v in (None,''): ce=TableCell()
            elif isinstance(v,(int,float)): ce=TableCell(valuetype='float',value=v); ce.addElement(P(text=str(v)))
            else: ce=TableCell(valuetype='string'); ce.addElement(P(text=v))
            tr_.addElement(ce)
        tb.addElement(tr_)
    bk.spreadsheet.addElement(tb)
tr=Transformer.from_crs(4326,31983,always_xy=True); bases={'M1':(-22.9011,-47.0622,640.0)}
sheet('Bases',[['Ponto','E (m)','N (m)','Altitude geométrica (m)']]+[[k,round(tr.transform(v[1],v[0])[0],2),round(tr.transform(v[1],v[0])[1],2),v[2]] for k,v in bases.items()])
base=bases['M1']; rows=[]; t={}
A=G.fwd(base[1],base[0],330,60); Bp=G.fwd(base[1],base[0],60,75)
A=(A[1],A[0],655.0); Bp=(Bp[1],Bp[0],657.0)
seq=[('suporte A',A),('suporte B',Bp)]
L=G.inv(A[1],A[0],Bp[1],Bp[0]); t['span']=L[2]
for f in (0.15,0.3,0.45,0.6,0.75,0.9):
    lo,la,_=G.fwd(A[1],A[0],L[0],L[2]*f); h=A[2]+(Bp[2]-A[2])*f-4*2.1*f*(1-f); seq.append(('cabo',(la,lo,h)))
lo,la,_=G.fwd(A[1],A[0],L[0],L[2]*.5); seq.append(('terreno',(la,lo,641.0))); t['clear']=A[2]+(Bp[2]-A[2])*.5-2.1-641.0
for i,(r,q) in enumerate(seq,1):
    sd,az,inc,hd=shot(base,q,eye=1.5); rows.append([i,'M1','V1','vão',r,round(sd,2),round(az,2),round(inc,2)])
sheet('Medidas',[['Nº','Estação','Objeto','Medição','Papel','Dist. inclinada (m)','Azimute verdadeiro (°)','Ângulo vertical (°)']]+rows)
bk.save(p+'rio.ods'); truth['pt']=t
# b10 Norwegian: rock face, words of roles in norwegian? long heights log with stand; bases from NMEA
p=d('no'); 
def nmea(lat,lon,h,t):
    la=f'{int(abs(lat)):02d}{(abs(lat)%1)*60:07.4f}'; lo=f'{int(abs(lon)):03d}{(abs(lon)%1)*60:07.4f}'
    s=f"GPGGA,{t.strftime('%H%M%S')}.00,{la},N,{lo},E,1,11,0.8,{h-40:.2f},M,40.00,M,,"; s2=f"GPRMC,{t.strftime('%H%M%S')}.00,A,{la},N,{lo},E,0.0,0.0,{t.strftime('%d%m%y')},,,A"
    ck=lambda s: f"{__import__('functools').reduce(lambda a,b:a^b,map(ord,s)):02X}"
    return f'${s}*{ck(s)}\r\n${s2}*{ck(s2)}\r\n'
stops=[('P1',(61.1,8.9,500.0)),('P2',(61.1012,8.9021,505.0))]; T=dt.datetime(2026,9,3,7,0,0); out=''; rows=[]; t={}; i=0
import random as _r
for k,(b,base) in enumerate(stops):
    if k:
        for s in range(60):
            f=s/60; out+=nmea(stops[0][1][0]+(base[0]-stops[0][1][0])*f,stops[0][1][1]+(base[1]-stops[0][1][1])*f,500+5*f,T); T+=dt.timedelta(seconds=2)
    t0=T
    for s in range(150): out+=nmea(base[0]+R.gauss(0,2e-6),base[1]+R.gauss(0,4e-6),base[2]+1.8+R.gauss(0,.3),T); T+=dt.timedelta(seconds=2)
    for j,q in enumerate(around(base,6,25,90,0,360,-5,15)):
        i+=1; n=f'stolpe {i}'; t[n]=q; sd,az,inc,hd=shot(base,q,decl=decl(base,2026.7),eye=1.5); tt=t0+dt.timedelta(seconds=60+35*j)+dt.timedelta(hours=2)
        rows.append(f"{i};{tt.strftime('%d.%m.%Y')};kl. {tt.strftime('%H.%M.%S')};{n};{c(sd,1)};{c(az,1)};{c(inc,1)}")
open(p+'gps.txt','w').write(out)
open(p+'maalinger.csv','w',encoding='utf-8').write('Nr.;Dato;Klokkeslett;Stolpe;Skråavstand (m);Kompassretning (°);Høydevinkel (°)\n'+'\n'.join(rows)+'\n'); truth['no']=t
json.dump(truth,open('truth.json','w'),indent=1)
